"""The rule book: every rule that a design is held against, in one list.

Screening, program, check and report all read this list. A rule's row number is that of the trade's
own list of constraints; its severity says who may loosen it:

- hard         fire, shock, destroyed part, illegal: never loosened
- requirement  what this customer asked for: the customer may loosen it, the solver never
- soft         good practice: reported, not enforced, unless the problem file raises it
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Any, Literal, TypeAlias

import numpy as np

Values: TypeAlias = Any
"""A number or a numpy array of numbers: the same shape comes out as goes in."""

Severity = Literal["hard", "requirement", "soft", "off"]
Sense = Literal["at most", "at least", "equals"]

TOLERANCE = 1e-6
"""Share of a requirement by which a value may miss it and still pass: the only tolerance there is."""

COMMON = "common practice, no source"


def meets(actual: Values, required: Values, sense: Sense) -> Values:
    """Whether `actual` satisfies `required`, with the one tolerance; numbers or arrays.

    >>> bool(meets(100.00001, 100, "at most")), bool(meets(100.1, 100, "at most"))
    (True, False)
    """
    slack = TOLERANCE * np.maximum(np.abs(required), 1e-3)
    if sense == "at most":
        return actual <= required + slack
    if sense == "at least":
        return actual >= required - slack
    return np.abs(actual - required) <= slack


WITHOUT_MARGIN = ("count", "C")
"""Units whose limits take no margin: pieces are whole, and a share of degrees Celsius means nothing."""


def with_margin(required: Values, sense: Sense, share: float) -> Values:
    """The requirement that leaves at least a share of itself as margin; numbers or arrays.

    >>> float(with_margin(200.0, "at most", 0.1)), float(with_margin(-200.0, "at least", 0.25))
    (180.0, -150.0)
    """
    if not share or sense == "equals":
        return required
    required = np.asarray(required, dtype=float)
    return required * (1 + np.sign(required) * (share if sense == "at least" else -share))


@dataclass(frozen=True)
class Rule:
    """One rule of the trade: what it is called, what it protects and where it comes from."""

    id: str
    row: str
    title: str
    severity: Severity
    unit: str
    sense: Sense
    source: str = COMMON
    by_size: bool = False
    """Whether the limit is met by a part of the next standard size, which holds the margin of the trade already."""

    @property
    def takes_margin(self) -> bool:
        """Whether its limit is a continuous quantity that a share can be kept away from."""
        return self.sense != "equals" and self.unit not in WITHOUT_MARGIN and not self.by_size


def _book(*rules: Rule) -> Mapping[str, Rule]:
    return {rule.id: rule for rule in rules}


NEC_690_7 = "NFPA 70 (NEC) 690.7(A)"
NEC_690_8 = "NFPA 70 (NEC) 690.8(A)"
NEC_AMPACITY = "NFPA 70 (NEC) 310.16, 690.8(B); IEC 60364-5-52"
WIND_AND_SNOW = "ratings by their maker against the site's; wind and snow by ASCE 7 or EN 1991-1-3 and -1-4 (from memory), as local code has them: a structural engineer's work"
NEC_DEVICES = "NFPA 70 (NEC) 240.4, 240.6(A); IEC 60364-4-43"

RULES: Mapping[str, Rule] = _book(
    # --- bank voltage and architecture
    Rule("bank-voltage-allowed", "1", "Bank voltage is one that the site allows", "requirement", "V", "equals"),
    Rule("bank-current-practice", "3", "DC current of the inverters stays practical", "soft", "A", "at most"),
    Rule("dc-load-voltage", "4", "Converters are large enough for their DC loads", "hard", "A", "at least"),
    Rule("dc-load-on-bank", "4", "DC loads without a converter stand on a bank of their own voltage", "hard", "V", "equals"),
    Rule("converter-input", "4", "Converter takes the bank's voltage", "hard", "V", "equals"),
    Rule("converter-output-voltage", "4", "Converter gives the loads' voltage", "hard", "V", "equals"),
    Rule("dc-load-upper-voltage", "5", "Charging never exceeds what the DC loads stand", "hard", "V", "at most"),
    Rule("earthing-polarity", "6", "Controller polarity suits the earthed pole", "hard", "", "equals"),
    Rule("extra-low-voltage", "7", "DC voltage stays within the site's voltage policy", "requirement", "V", "at most"),
    Rule("inverter-present", "8", "AC loads have an inverter", "hard", "count", "at least"),
    # --- source strings
    Rule("cold-open-circuit", "10, 21", "Cold open-circuit voltage of a string stays below the controller's maximum", "hard", "V", "at most", NEC_690_7),
    Rule("operating-open-circuit", "11", "Cold open-circuit voltage stays below the controller's working maximum", "soft", "V", "at most"),
    Rule("module-system-voltage", "12", "Cold open-circuit voltage stays below the module's system voltage", "hard", "V", "at most", NEC_690_7),
    Rule("hot-run-voltage", "14", "Hot working voltage stays above what charging needs", "hard", "V", "at least"),
    Rule("start-voltage", "15", "The controller starts in low light on a hot day", "hard", "V", "at least"),
    Rule("tracker-window", "16", "Hot working voltage stays inside the tracker's window", "hard", "V", "at least"),
    Rule("boost-voltage", "17", "A boost controller's string stays below the bank's voltage", "hard", "V", "at most"),
    Rule("aged-run-voltage", "18", "Hot working voltage is still enough after twenty years", "soft", "V", "at least"),
    Rule("pwm-nominal-match", "19", "String of a PWM controller has the cells that its bank wants", "soft", "cells", "equals"),
    Rule("pwm-nominal-rule", "19", "The controller's sheet asks for strings of the bank's nominal voltage", "hard", "cells", "equals"),
    Rule("pwm-absorption-current", "20", "A PWM string still charges at absorption on a hot day", "hard", "share of Imp", "at least"),
    Rule("pwm-absorption-current-full", "20", "A PWM string finishes the charge on a hot day", "soft", "share of Imp", "at least"),
    # --- controllers
    Rule("controller-input-current", "23", "Array short-circuit current stays within the controller's input", "hard", "A", "at most", NEC_690_8),
    Rule("pwm-rating", "24", "Array short-circuit current stays within a PWM controller's rating", "hard", "A", "at most", NEC_690_8),
    Rule("array-above-rating", "26", "Array watts stay within what the controller is meant for", "soft", "W", "at most"),
    Rule("controller-input-power", "27", "Array watts stay below the controller's damage limit", "hard", "W", "at most"),
    Rule("controller-room-temperature", "28", "Controller still gives current at its room's temperature", "hard", "A", "at least"),
    Rule("load-terminal-current", "29", "DC loads stay within a controller's load terminals", "hard", "A", "at least"),
    Rule("parallel-controllers", "30", "Controllers that share a bank are made to", "hard", "count", "at most"),
    Rule("tracker-count", "30", "Built-in trackers used are there", "hard", "count", "at most"),
    Rule("controller-bank-voltage", "31", "Controller supports the bank's voltage", "hard", "V", "equals"),
    Rule("charge-profile", "32", "Controller can charge the bank's chemistry", "hard", "", "equals"),
    Rule("charge-limit", "25, 53", "A charge limit is set only where the controller can hold it", "hard", "", "equals"),
    Rule("quick-controller-size", "25", "Controller amperes are array watts / bank volts x 1.25", "soft", "A", "at most"),
    # --- battery bank
    Rule("battery-series-count", "2, 33", "Units in series make the bank's voltage class", "hard", "count", "equals"),
    Rule("battery-series-limit", "34", "Units in series stay within the battery's limit", "hard", "count", "at most"),
    Rule("battery-parallel-limit", "35", "Strings in parallel stay within the battery's limit", "hard", "count", "at most"),
    Rule("lead-acid-parallel", "36", "Lead-acid strings in parallel are at most three", "hard", "count", "at most"),
    Rule("lead-acid-parallel-preferred", "36", "Lead-acid strings in parallel are at most two", "soft", "count", "at most"),
    Rule("battery-age", "37", "Units of one bank are of one age", "requirement", "months", "at most"),
    Rule("autonomy", "41, 42, 43, 45, 49", "Usable storage carries the autonomy", "requirement", "Wh", "at least"),
    Rule("cold-capacity-known", "45", "The battery's capacity is known at its temperature", "hard", "", "equals"),
    Rule("daily-depth", "44", "The night's draw stays within the daily depth of discharge", "soft", "Wh", "at least"),
    Rule("freezing-floor", "46", "After the autonomy the electrolyte is still strong enough not to freeze", "hard", "Wh", "at least"),
    Rule("charge-temperature", "47", "The battery is never charged below its lowest charging temperature", "hard", "C", "at least"),
    Rule("low-temperature-cut-out", "47", "Charging stops by itself when lithium cells are near freezing", "hard", "", "equals"),
    Rule("battery-too-hot", "48", "The battery is never charged above its highest charging temperature", "hard", "C", "at most"),
    Rule("battery-warm", "48", "The battery's mean temperature does not shorten its life", "soft", "C", "at most"),
    Rule("discharge-temperature", "48", "The battery may be discharged at its lowest temperature", "hard", "C", "at least"),
    Rule("storage-months", "50", "The battery survives its idle months without charging", "requirement", "share", "at most"),
    Rule("minimum-charge-current", "52", "The array charges the bank hard enough", "requirement", "A", "at least"),
    Rule("maximum-charge-current", "53", "The array never charges the bank too hard", "hard", "A", "at most"),
    Rule("continuous-discharge", "54", "The bank carries the coincident load", "hard", "A", "at least"),
    Rule("surge-discharge", "55", "The bank carries the worst start", "hard", "A", "at least"),
    Rule("sag-above-cut-out", "56", "The worst start does not pull the bank below the inverter's cut-out", "requirement", "V", "at least"),
    Rule("one-string-out", "57", "The bank carries the load with one string out", "soft", "A", "at least"),
    Rule("ripple-minimum", "58", "The bank is large enough for the inverter's ripple", "soft", "Ah", "at least"),
    # --- energy
    Rule("monthly-balance", "59, 60, 61, 66", "Every month of use the array gives its share of the load", "requirement", "Wh/day", "at least"),
    Rule("recovery", "62", "The array refills the store within the recovery time", "requirement", "Wh/day", "at least"),
    Rule("full-recharge", "63", "A lead-acid bank is full at least every fortnight", "requirement", "Wh/day", "at least"),
    Rule("carry-over", "51", "What the bank holds carries the months without enough sun", "requirement", "Wh", "at least", by_size=True),
    Rule("carry-over-year", "51, 59", "Over the year the array gives its share of the load, and fills the bank again", "requirement", "Wh/day", "at least", by_size=True),
    Rule("weekly-swing", "64", "What the idle days bring fits into the bank", "requirement", "Wh", "at least"),
    Rule("spare-controller", "108", "Critical loads are carried in every month with any one controller out", "requirement", "Wh/day", "at least", by_size=True),
    Rule("uncertainty", "68", "Ten per cent less sun and ten per cent more load still balance", "soft", "Wh/day", "at least"),
    # --- inverter
    Rule("continuous-power", "69", "Inverter carries the coincident watts at its room's temperature", "hard", "W", "at least"),
    Rule("continuous-va", "69", "Inverter carries the coincident volt-amperes", "hard", "VA", "at least"),
    Rule("soft-starter-size", "70", "Soft starters carry their motors", "hard", "VA", "at least", by_size=True),
    Rule("surge", "70", "Inverter starts the worst load", "hard", "VA", "at least"),
    Rule("ac-standard", "72", "Inverter makes the site's AC", "hard", "", "equals"),
    Rule("leg-power", "73", "Each leg or phase carries its share", "hard", "VA", "at least"),
    Rule("autotransformer-size", "73", "The autotransformer carries and starts the loads behind it", "hard", "VA", "at least", by_size=True),
    Rule("stacking", "74", "Inverters are stacked in a way their maker allows", "hard", "count", "equals"),
    Rule("inverter-dc-window", "75", "Charging never exceeds the inverter's DC maximum", "hard", "V", "at most"),
    Rule("waveform", "77", "The waveform suits the loads", "requirement", "", "equals"),
    Rule("neutral-bond", "78", "There is one neutral-earth bond at a time", "hard", "", "equals"),
    Rule("spare-inverter", "108", "Critical loads are carried and started with one inverter out", "requirement", "VA", "at least", by_size=True),
    Rule("inverter-bank-voltage", "1", "Inverter is made for the bank's voltage", "hard", "V", "equals"),
    Rule("cut-out-order", "94", "The inverter stops before the battery's own cut-off", "hard", "V", "at least"),
    Rule("charge-below-cut-off", "94", "Charging stays below the battery's high cut-off", "hard", "V", "at most"),
    Rule("battery-loss", "94", "Controller survives a battery that cuts itself off", "hard", "", "equals"),
    # --- generator, alternator, shore power
    Rule("generator-present", "80", "A generator is in the design where the site asks for one, and nowhere else", "requirement", "", "equals"),
    Rule("source-present", "95", "A charger on alternator or shore power is in the design where the site asks for one, and nowhere else", "requirement", "", "equals"),
    Rule("generator-ac", "72, 80", "The generator makes the AC that the site and its chargers take", "hard", "", "equals"),
    Rule("generator-size", "80", "The generator carries its chargers beside the loads, on each leg", "hard", "VA", "at least", by_size=True),
    Rule("generator-power", "80", "The engine carries the watts of chargers and loads", "hard", "W", "at least", by_size=True),
    Rule("generator-load", "81", "Charging loads the engine enough", "soft", "share", "at least"),
    Rule("generator-hours", "79", "What the array leaves missing is charged within the hours a day", "requirement", "h", "at most"),
    Rule("generator-refill", "62, 79", "The generator refills the bank within the recovery time", "requirement", "h", "at most"),
    Rule("solar-share", "61", "Over the year the array gives its share of the load", "requirement", "share", "at least"),
    Rule("alternator-input", "95", "Chargers take the voltage of the alternator", "hard", "V", "equals"),
    Rule("alternator-load", "95", "Chargers leave the alternator half of what it gives at idle", "hard", "A", "at most", by_size=True),
    Rule("shore-size", "80", "Shore power carries its chargers beside the loads", "hard", "VA", "at least", by_size=True),
    Rule("charger-bank-voltage", "79", "Chargers are made for the bank's voltage", "hard", "V", "equals"),
    Rule("charger-profile", "32, 79", "Chargers can charge the bank's chemistry", "hard", "", "equals"),
    Rule("charger-output", "79", "Chargers give the current that they are set to", "hard", "A", "at least", by_size=True),
    Rule("charger-setting", "79", "Chargers can be set to their current", "hard", "", "equals"),
    Rule("charger-rate", "79", "Chargers alone charge the bank hard enough", "soft", "A", "at least"),
    Rule("all-sources-current", "95", "Array and chargers together never charge the bank too hard", "hard", "A", "at most"),
    # --- circuits
    Rule("circuit-parts", "82-93", "Every circuit has a cable and devices that may serve it", "hard", "", "equals"),
    Rule("conductor-ampacity", "82", "Conductors carry their current where they lie", "hard", "A", "at least", NEC_AMPACITY, by_size=True),
    Rule("terminal-ampacity", "82", "Conductors carry 1.25 times their current at terminals for 75 C", "hard", "A", "at least", NEC_AMPACITY, by_size=True),
    Rule("cable-voltage", "12, 82", "Cables are made for the voltage across them", "hard", "V", "at least", by_size=True),
    Rule("cable-tinned", "106", "Cables are tinned where the site asks for it or the air is salty", "requirement", "", "equals"),
    Rule("voltage-drop", "83", "Voltage drop stays within the site's limit", "requirement", "%", "at most", "advisory notes to NFPA 70 (NEC) 210.19, 215.2", by_size=True),
    Rule("device-rating", "84", "Devices carry 1.25 times the current of their circuit", "hard", "A", "at least", NEC_DEVICES, by_size=True),
    Rule("device-protects", "84", "No device is larger than its conductor allows", "hard", "A", "at most", NEC_DEVICES, by_size=True),
    Rule("device-voltage", "85", "Devices are made for the voltage of their circuit", "hard", "V", "at least", by_size=True),
    Rule("terminal-size", "89", "Conductors fit the terminals of their devices", "hard", "mm2", "at most", by_size=True),
    Rule("busbar-rating", "89", "Busbars carry the sum of loads and the sum of sources", "hard", "A", "at least", by_size=True),
    Rule("busbar-ways", "89", "Busbars have a place for each conductor", "hard", "count", "at least", by_size=True),
    Rule("busbar-voltage", "89", "Busbars are made for the bank's voltage", "hard", "V", "at least", by_size=True),
    Rule("interrupt-rating", "85", "Devices break the bank's fault current", "hard", "A", "at least", by_size=True),
    Rule("string-fuse", "86", "No string can be driven beyond what its modules stand", "hard", "A", "at most", "NFPA 70 (NEC) 690.9; IEC 62548", by_size=True),
    Rule("rapid-shutdown", "13, 92", "Strings stay within what may live on inside the array after a rapid shutdown", "requirement", "V", "at most", "NFPA 70 (NEC) 690.12(B)(2) (from memory)"),
    Rule("arc-fault", "13, 92", "Strings on a building stay below the voltage that asks for arc-fault detection", "soft", "V", "at most", "NFPA 70 (NEC) 690.11 (from memory)"),
    # --- mounts
    Rule("mount-parts", "98", "Every array has mounts that may carry it", "hard", "", "equals"),
    Rule("mount-place", "98", "Mounts are made for a place where the array may stand", "requirement", "", "equals"),
    Rule("mount-wind", "98", "Mounts are rated for the site's wind", "hard", "m/s", "at least", WIND_AND_SNOW, by_size=True),
    Rule("mount-snow", "98", "Mounts are rated for the site's snow", "hard", "kN/m2", "at least", WIND_AND_SNOW, by_size=True),
    Rule("mount-tilt", "98", "Mounts reach the array's tilt", "hard", "deg", "at most", by_size=True),
    Rule("mount-adjustable", "98", "Mounts of an array that is adjusted through the year can be set anew", "hard", "", "equals"),
    Rule("mount-size", "98", "Modules are no larger than their mounts take", "hard", "mm", "at most", by_size=True),
    Rule("mount-modules", "98", "Mounts have a place for every module", "hard", "", "equals"),
    Rule("roof-load", "98", "Modules, mounts, ballast and snow stay within what the roof bears", "hard", "kN/m2", "at most", WIND_AND_SNOW, by_size=True),
    Rule("mount-salt", "106", "Mounts near the sea stand salt", "requirement", "", "equals"),
    # --- physical and commercial
    Rule("array-area", "96", "The array fits the area", "requirement", "m2", "at most"),
    Rule("array-rectangles", "97", "The modules fit the free rectangles", "requirement", "count", "at least"),
    Rule("heaviest-piece", "99", "Nobody lifts more than the site's limit", "requirement", "kg", "at most"),
    Rule("total-weight", "100", "The parts stay within the payload", "requirement", "kg", "at most"),
    Rule("stock", "102", "Parts are in stock", "requirement", "count", "at most"),
    Rule("part-limit", "102", "Parts stay within the numbers that the problem allows", "requirement", "count", "at most"),
    Rule("part-demanded", "103", "Parts that must be used are used", "requirement", "count", "at least"),
    Rule("budget", "104", "The bill stays within the budget", "requirement", "money", "at most"),
    Rule("chemistry-allowed", "105, 107", "The chemistry is one that the problem allows", "requirement", "", "equals"),
    Rule("battery-ventilation", "105", "A battery that gasses stands in a ventilated place", "hard", "", "equals"),
    Rule("battery-unit-energy", "105", "One battery unit stays within the place's limit", "requirement", "kWh", "at most"),
    Rule("battery-place-energy", "105", "The bank stays within the place's limit", "requirement", "kWh", "at most"),
    Rule("attendance", "107", "Cells that need water have somebody to water them", "requirement", "", "equals"),
    # --- what a design lives through
    Rule("loss-of-load", "48, 108", "Loads are off no more hours a year than the site allows", "requirement", "h", "at most"),
    # --- the stated bounds of the search
    Rule("bounds", "B0", "The design lies within the stated bounds of the search", "soft", "count", "at most"),
)


class Severities:
    """The severity of each rule for one problem: the book's own, with what the problem changes.

    margin_share: what a search keeps away from every limit that takes a margin; `apart` names the rules whose limits
    the problem itself holds with the margin already.
    """

    def __init__(self, changed: Mapping[str, Severity] | None = None, margin_share: float = 0.0, apart: Collection[str] = ()) -> None:
        self._changed = dict(changed or {})
        self._margin_share, self._apart = margin_share, apart

    def asked(self, rule_id: str, required: Values) -> Values:
        """What the search holds a candidate to: the requirement, with the margin where there is one."""
        rule = RULES[rule_id]
        if not rule.takes_margin or rule_id in self._apart:
            return required
        return with_margin(required, rule.sense, self._margin_share)

    @property
    def key(self) -> tuple[object, ...]:
        """What tells one from another."""
        return tuple(sorted(self._changed.items())), self._margin_share, tuple(self._apart)

    def of(self, rule_id: str) -> Severity:
        """Severity of a rule for this problem."""
        return self._changed.get(rule_id, RULES[rule_id].severity)

    def enforced(self, rule_id: str) -> bool:
        """Whether a design that breaks the rule is not valid."""
        return self.of(rule_id) in ("hard", "requirement")
