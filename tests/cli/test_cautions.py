"""Cautions that always stand, and those that stand only when they are true of this design."""

from dataclasses import replace

import pytest

from optimizer.design import Bank
from optimizer.handover.cautions import ALWAYS, CARE, cautions, own_cautions
from optimizer.inputs.problem import Owned


def with_line(report, rule, **changes):
    """The report with every line of a rule changed; adds one where the rule left none."""
    lines = [replace(line, **changes) if line.rule == rule else line for line in report.lines]
    assert any(line.rule == rule for line in lines), rule
    return replace(report, lines=tuple(lines))


def with_bank(report, **changes):
    bank = report.design.bank
    fields = {"battery": bank.battery, "chemistry": bank.chemistry, "volts": bank.volts, "series": bank.series, "strings": bank.strings}
    battery = {key: value for key, value in changes.items() if key not in fields}
    fields |= {key: value for key, value in changes.items() if key in fields}
    fields["battery"] = fields["battery"].model_copy(update=battery)
    return replace(report, design=replace(report.design, bank=Bank(**fields)))


def said(report, problem, text):
    return [caution for caution in own_cautions(report, problem) if text in caution]


@pytest.fixture
def cabin(answer_of):
    """A 12 V system with lead-acid cells that need water."""
    answer = answer_of("weekend_cabin")
    assert answer.report.design.bank.chemistry.needs_water, "the tests below rest on it"
    return answer.report, answer.problem


@pytest.fixture
def kit(answer_of):
    """A 12 V system with one lithium pack and no inverter."""
    answer = answer_of("light_kit")
    assert answer.report.design.bank.is_lithium, "the tests below rest on it"
    return answer.report, answer.problem


def of(problem, section, **changes):
    return problem.model_copy(update={section: getattr(problem, section).model_copy(update=changes)})


def test_the_general_ones_stand_on_every_answer(run, site, answer_of):
    answer = answer_of(site)
    assert len(ALWAYS) == 20
    assert cautions(answer.report, answer.problem)[-20:] == list(ALWAYS)
    flat = " ".join(run("solve", site).out.split())
    for text in cautions(answer.report, answer.problem):
        assert f"- {text}" in flat
    assert "local code" in ALWAYS[0]
    assert "licensed electrician" in ALWAYS[0]


@pytest.mark.parametrize(("volts", "on_building", "stands"), [
    (60.0, True, []), (60.5, True, ["above 60 V"]), (80.5, False, ["above 60 V"]), (80.5, True, ["above 60 V", "above 80 V"]),
    (120.5, True, ["above 120 V", "above 80 V"]), (120.5, False, ["above 120 V"]),
])
def test_string_voltage(cabin, volts, on_building, stands):
    report, problem = cabin
    found = said(with_line(report, "cold-open-circuit", actual=volts), of(problem, "site", on_building=on_building), "open-circuit in the cold")
    assert len(found) == len(stands)
    for caution, text in zip(found, stands, strict=True):
        assert text in caution


def test_unknown_string_voltage_is_told_as_unknown(cabin):
    report, problem = cabin
    unknown = with_line(report, "cold-open-circuit", actual=None, passed=None, margin=None)
    assert not said(unknown, problem, "open-circuit in the cold")
    assert said(unknown, problem, "Could not be judged from the catalog: cold open-circuit")
    assert not said(report, problem, "Could not be judged")


@pytest.mark.parametrize(("place", "strings", "stands"), [("living space", 1, False), ("living space", 40, True), ("ventilated room", 40, False)])
def test_large_bank_in_a_living_space(kit, place, strings, stands):
    report, problem = kit
    large = with_bank(report, strings=strings, capacity_20h_ah=50.0)  # 0.64 kWh a unit
    assert bool(said(large, of(problem, "bank", place=place), "stands in a living space")) is stands


@pytest.mark.parametrize(("strings", "stands"), [(2, False), (3, True)])
def test_lead_acid_strings(cabin, kit, strings, stands):
    assert bool(said(with_bank(cabin[0], strings=strings), cabin[1], "lead-acid strings in parallel")) is stands
    assert not said(with_bank(kit[0], strings=strings), kit[1], "lead-acid strings in parallel")


def test_lithium_packs_in_series(cabin, kit):
    assert said(with_bank(kit[0], series=2), kit[1], "2 lithium packs in series")
    assert not said(kit[0], kit[1], "in series: charge")
    assert not said(with_bank(cabin[0], series=2), cabin[1], "lithium packs")


@pytest.mark.parametrize(("lowest", "stands"), [(5.0, False), (4.5, True)])
def test_lithium_in_the_cold(kit, cabin, lowest, stands):
    report, problem = kit
    colder = of(problem, "temperatures", battery_lowest_c=lowest)
    whole = replace(report.whole, needs=type(report.whole.needs)(colder))
    assert bool(said(replace(report, whole=whole), colder, "see that charging really stops")) is stands
    assert not said(*cabin, "see that charging really stops")


def test_cells_that_need_water_and_gas(cabin, kit):
    report, problem = cabin
    assert said(report, of(problem, "site", attended=False), "they will run dry")
    assert not said(report, problem, "they will run dry")
    assert said(report, problem, "give off hydrogen and acid mist")
    assert not said(kit[0], of(kit[1], "site", attended=False), "they will run dry")
    assert not said(*kit, "give off hydrogen and acid mist")


@pytest.mark.parametrize(("volts", "equalise", "stands"), [(31.0, "disconnected", True), (29.0, "disconnected", False), (31.0, "never", False)])
def test_equalising_above_60_v(cabin, volts, equalise, stands):
    report, problem = cabin
    high = with_bank(report, series=2, equalise_v=volts)
    assert bool(said(high, of(problem, "bank", equalise=equalise), "Equalising lifts the bank")) is stands


def test_one_inverter_with_critical_loads(answer_of, kit):
    answer = answer_of("year_round_home")
    report, problem = answer.report, answer.problem
    assert report.design.inverters.count == 1, "the test rests on it"
    assert said(report, problem, "One inverter carries critical loads")
    two = replace(report, design=replace(report.design, inverters=replace(report.design.inverters, count=2)))
    assert not said(two, problem, "One inverter")
    easy = problem.model_copy(update={"loads": tuple(load.model_copy(update={"critical": "no"}) for load in problem.loads)})
    assert not said(report, easy, "One inverter")
    assert not said(*kit, "One inverter")


def test_modified_sine_wave(answer_of):
    report, problem = answer_of("year_round_home").report, answer_of("year_round_home").problem
    assert not said(report, problem, "modified sine")
    inverters = report.design.inverters
    rough = replace(inverters, inverter=inverters.inverter.model_copy(update={"wave": "modified"}))
    assert said(replace(report, design=replace(report.design, inverters=rough)), problem, "modified sine")


@pytest.mark.parametrize(("rule", "actual", "required", "stands"), [
    ("cold-open-circuit", 96.0, 100.0, True), ("cold-open-circuit", 94.0, 100.0, False), ("controller-input-current", 19.5, 20.0, True),
    ("lead-acid-parallel", 3.0, 3.0, False), ("array-above-rating", 99.0, 100.0, False),
])
def test_hard_rules_that_hold_by_little(cabin, rule, actual, required, stands):
    report, problem = cabin
    changed = with_line(report, rule, actual=actual, required=required, margin=required - actual, passed=True)
    title = next(line.title for line in report.lines if line.rule == rule)
    found = [text for text in said(changed, problem, "to spare where damage begins") if title[1:] in text]
    assert bool(found) is stands
    if stands:
        assert f"Only {100 * (required - actual) / required:.1f} % to spare" in found[0]


def test_array_above_its_controller(cabin):
    report, problem = cabin
    assert not said(report, problem, "above what its controller is meant for")
    assert said(with_line(report, "array-above-rating", passed=False), problem, "above what its controller is meant for")


def test_two_arrays(answer_of, cabin):
    answer = answer_of("camper")
    assert bool(said(answer.report, answer.problem, "more than one array")) is (len(answer.report.design.blocks) > 1)
    assert not said(*cabin, "more than one array")


def test_parts_of_the_customer(cabin):
    report, problem = cabin
    battery = report.design.bank.battery.id
    module = report.design.blocks[0].module.id

    def owning(*owned):
        return problem.model_copy(update={"owned": owned})

    assert not said(report, problem, "customer's own")
    assert said(report, owning(Owned(part=module, quantity=1)), f"untested: {module}.")
    assert not said(report, owning(Owned(part=module, quantity=1, age_months=9)), "Used batteries")
    assert said(report, owning(Owned(part=battery, quantity=1, age_months=9)), "Used batteries are in the bank")
    months = 12 * report.design.bank.chemistry.calendar_life_years
    assert not said(report, owning(Owned(part=battery, quantity=1, age_months=months)), "count on buying the bank anew soon")
    assert said(report, owning(Owned(part=battery, quantity=1, age_months=months + 1)), "count on buying the bank anew soon")
    assert not said(report, owning(Owned(part="PV-010-36", quantity=1, age_months=9)), "customer's own")


def test_short_stock_heavy_pieces_and_blanks(cabin):
    report, problem = cabin
    heavy = [part for part in report.design.parts if part.weight_kg > 25]
    assert bool(heavy) is bool(said(report, problem, "Two people or a hoist"))
    assert said(with_bank(report, weight_kg=25.5), problem, f"{report.design.bank.battery.id} (25.5 kg)")
    assert not said(with_bank(report, weight_kg=25.0), problem, f"{report.design.bank.battery.id} (")
    assert not said(report, problem, "Not enough in stock")
    assert said(with_line(report, "stock", passed=False), problem, "Not enough in stock")
    assert said(with_bank(report, assumed=("bms_w = 2",)), problem, "blank in the catalog")
    assert not said(with_bank(report, dangerous_goods=""), problem, "dangerous goods (class")
    assert said(with_bank(report, dangerous_goods="9 UN3480"), problem, "dangerous goods (class 9 UN3480)")


@pytest.mark.parametrize(("source", "text"), [("generator", "A generator stands behind"), ("shore", "Shore power"), ("alternator", "An alternator charges too")])
def test_other_sources(cabin, source, text):
    report, problem = cabin
    assert not said(report, of(problem, "site", other_source="none"), text)
    assert said(report, of(problem, "site", other_source=source), text)
    assert said(None, of(problem, "site", other_source=source), text)


def test_vehicle_and_earthing(cabin):
    report, problem = cabin
    assert not said(report, problem, "stands in a vehicle")
    assert said(report, of(problem, "array", mounting="flat on a vehicle"), "stands in a vehicle")
    assert not said(report, problem, "The bank is")
    assert said(report, of(problem, "site", earthing="positive"), "earthed at its positive pole")
    assert said(report, of(problem, "site", earthing="floating"), "not earthed at either pole")


@pytest.mark.parametrize("item", ["Vaccine refrigerator compressor", "Nebulizer", "Oxygen concentrator 5 L/min", "CPAP", "Medical freezer", "Insulin cooler"])
def test_names_that_suggest_care(cabin, item):
    report, problem = cabin
    loads = (*problem.loads, problem.loads[0].model_copy(update={"item": item}))
    assert said(report, problem.model_copy(update={"loads": loads}), f"may hang on: {item}.")
    assert not said(report, problem, "may hang on")


def test_names_that_do_not_suggest_care():
    for item in ("Ventilation fan", "Medium fan", "Television", "Pump", "Vent fan", "Intermedia player"):
        assert not CARE.search(item), item
