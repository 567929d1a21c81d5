"""Conductors and protection against published tables and hand-worked values; the tables of the shipped catalog too.

Marks as in test_published.py.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from test_published import column, published

from optimizer import load_catalog
from optimizer.errors import OutOfRange
from optimizer.rules import earthing, protection, wiring

TABLES = load_catalog().tables
FEET_A_KM = 3280.84

few = settings(max_examples=60, deadline=None)


# --- the tables of the catalog


def test_copper_of_the_nec() -> None:
    # published: NFPA 70 (NEC) Table 310.16 and Chapter 9 Table 8 (ohm/1000 ft at 75 C), read.
    for row in published("nec_copper.csv"):
        conductor = TABLES.conductor("NEC", row["size"])
        for insulation_c in (60, 75, 90):
            assert conductor.ampacity_a(insulation_c) == float(row[f"ampacity_{insulation_c}_a"]), (row["size"], insulation_c)
        hot = wiring.resistance_at_ohm_km(conductor.r20_ohm_km, 75) * 1000 / FEET_A_KM
        assert hot == pytest.approx(float(row["ohm_1000ft_75c"]), rel=1e-5), row["size"]


def test_small_conductors_of_the_nec_are_capped() -> None:
    # published: caps of 14, 12 and 10 AWG, NFPA 70 (NEC) 240.4(D), second-hand.
    caps = {size: row.device_max_a for (family, size), row in TABLES.conductors.items() if family == "NEC" and row.device_max_a}
    assert caps == {"14 AWG": 15, "12 AWG": 20, "10 AWG": 30}


def test_copper_of_the_iec() -> None:
    # published: IEC 60228 class 2 and class 5 tinned, read; IEC 60364-5-52 methods B2 and C, read second-hand.
    for row in published("iec_copper.csv"):
        conductor = TABLES.conductor("IEC", f"{row['area_mm2']} mm2")
        assert conductor.area_mm2 == float(row["area_mm2"])
        assert conductor.r20_ohm_km == float(row["class_5_tinned_ohm_km"]) > float(row["class_2_ohm_km"])
        assert conductor.ampacity_a(70) == float(row["b2_a"]) < float(row["c_a"])
        # At 90 C the table is from memory: above that at 70 C, by no more than the root of 60 K of rise against 40 and a sixth.
        assert conductor.rated_at_c(90) == 90
        assert float(row["b2_a"]) < conductor.ampacity_a(90) < float(row["b2_a"]) * (60 / 40) ** 0.5 * 1.16


def test_ambient_factors_of_the_nec() -> None:
    # published: NFPA 70 (NEC), 30 C base, 60/75/90 C columns, read.
    for row in published("nec_ambient.csv"):
        for insulation_c in (60, 75, 90):
            for ambient_c in (float(row["from_c"]), float(row["to_c"])):
                if row[f"factor_{insulation_c}"]:
                    assert TABLES.ambient_factor("NEC", insulation_c, ambient_c) == float(row[f"factor_{insulation_c}"])
                else:
                    with pytest.raises(OutOfRange, match="ends at 55 C"):
                        TABLES.ambient_factor("NEC", insulation_c, ambient_c)
    for insulation_c in (60, 75, 90):
        assert TABLES.ambient_factor("NEC", insulation_c, 30) == 1.0


def test_ambient_factors_of_the_iec() -> None:
    # published: IEC 60364-5-52, PVC (70 C) and XLPE (90 C), 30 C base, second-hand.
    for row in published("iec_ambient.csv"):
        assert TABLES.ambient_factor("IEC", 70, float(row["ambient_c"])) == float(row["pvc"])
        assert TABLES.ambient_factor("IEC", 90, float(row["ambient_c"])) == float(row["xlpe"])


def test_bundling_factors_of_the_nec() -> None:
    # published: NFPA 70 (NEC), more than three conductors that carry current, read.
    for row in published("nec_bundling.csv"):
        for conductors in range(int(row["from"]), int(row["to"]) + 1):
            assert TABLES.bundling_factor("NEC", conductors) == float(row["factor"])
    assert TABLES.bundling_factor("NEC", 3) == 1.0


def test_standard_ratings_of_the_nec() -> None:
    # published: NFPA 70 (NEC) 240.6(A), read; 10 A is of the 2023 edition, from memory.
    assert TABLES.standard_ratings("NEC") == (10.0, *column(published("nec_standard_ratings.csv"), "rated_a").tolist())


# --- wiring


def test_resistance_at_temperature() -> None:
    # hand: 1.83 x (1 + 0.00393 x 50) = 2.18959...; at 20 C the table itself.
    assert wiring.resistance_at_ohm_km(1.83, 70) == pytest.approx(2.189595)
    assert wiring.resistance_at_ohm_km(1.83, 20) == 1.83


def test_voltage_drop() -> None:
    # hand: 2 x 10 m x 1.24 ohm/km x 30 A / 1000 = 0.744 V.
    assert wiring.voltage_drop_v(30, 10, 1.24) == pytest.approx(0.744)


def test_corrected_ampacity() -> None:
    # hand: 10 AWG at 90 C, 40 A, 36-40 C (0.91), 4 to 6 conductors (0.80): 29.12 A.
    table_a = TABLES.conductor("NEC", "10 AWG").ampacity_a(90)
    factors = TABLES.ambient_factor("NEC", 90, 38), TABLES.bundling_factor("NEC", 4)
    assert wiring.corrected_ampacity_a(table_a, *factors) == pytest.approx(29.12)


def test_loss_share_is_ohmic_loss_over_power() -> None:
    # hand: Imp 10 A, Vmp 100 V, 0.3 ohm: 3 V, so 3 %; at 400 W/m2 4 A lose 4.8 W of 400 W.
    assert wiring.loss_share(0.03, 400) == pytest.approx(4.8 / 400)
    assert wiring.loss_share(0.03, 1000) == 0.03


def test_least_area_of_the_published_wire_example() -> None:
    # published: 12 V, 20 A, 25 ft one way, 3 %: 29,861 cmil, so 4 AWG (41,740), since 6 AWG has 26,240 (read).
    area_cmil = wiring.least_area_cmil(20, 2 * 25, 0.03 * 12)
    assert round(float(area_cmil)) == 29_861
    assert TABLES.conductor("NEC", "6 AWG").area_mm2 < area_cmil * 5.067075e-4 < TABLES.conductor("NEC", "4 AWG").area_mm2
    # hand: the drop by resistance agrees: 6 AWG drops more than 0.36 V at 25 C, 4 AWG less.
    drops = [
        wiring.voltage_drop_v(20, 25 * 0.3048, wiring.resistance_at_ohm_km(TABLES.conductor("NEC", size).r20_ohm_km, 25))
        for size in ("6 AWG", "4 AWG")
    ]
    assert drops[0] > 0.36 > drops[1]


# --- protection


def test_devices_of_a_2000_w_inverter() -> None:
    # hand (references, starter parts): 2,000 W, 0.90 at 10.5, 21 and 42 V: 211.6, 105.8, 52.9 A; devices of 300, 150, 70 A.
    for volts, amps, device_a in ((10.5, 211.6, 300), (21, 105.8, 150), (42, 52.9, 70)):
        current_a = 2000 / 0.90 / volts
        assert current_a == pytest.approx(amps, abs=0.05)
        assert protection.least_device_a(protection.continuous_a(current_a), TABLES.standard_ratings("NEC")) == device_a


def test_source_circuit_of_a_430_w_string() -> None:
    # hand (references, starter parts): 13.95 A x 1.25 = 17.44 A, x 1.5625 = 21.80 A; two strings with 10 % from the back.
    assert protection.source_circuit_a(13.95, 1, 0) == pytest.approx(17.44, abs=0.005)
    assert protection.source_conductor_a(13.95, 1, 0) == pytest.approx(21.80, abs=0.005)
    assert protection.source_circuit_a(13.95, 2, 10) == pytest.approx(1.25 * 13.95 * 2 * 1.1)


def test_three_strings_of_430_w_need_fuses_and_two_do_not() -> None:
    # hand (references, starter parts): 34.9 A above the module's 25 A; 17.4 A below it.
    assert protection.reverse_current_a(13.95, 3) == pytest.approx(34.9, abs=0.05)
    assert protection.reverse_current_a(13.95, 2) == pytest.approx(17.4, abs=0.05)
    assert protection.reverse_current_a(13.95, 2) < 25 < protection.reverse_current_a(13.95, 3)
    assert protection.reverse_current_a(13.95, 1) == 0


def test_string_fuse_of_a_430_w_string_is_25_a() -> None:
    # hand (references, starter parts): of 10, 15, 20, 25, 30 A only 25 A fits between the bounds, by either family.
    for family in ("NEC", "IEC"):
        least, most = protection.string_fuse_least_a(13.95, family), protection.string_fuse_most_a(13.95, 25, family)
        assert [amps for amps in (10, 15, 20, 25, 30) if least <= amps <= most] == [25]
    # hand: 2.4 x 5.86 A = 14.064 A lies below the module's 15 A, by the IEC family only.
    assert protection.string_fuse_most_a(5.86, 15, "IEC") == pytest.approx(14.064)
    assert protection.string_fuse_most_a(5.86, 15, "NEC") == 15


def test_family_of_fuse_rules_must_be_known() -> None:
    # hand: the two families that there are rules for, and no third.
    for rule in (lambda: protection.string_fuse_least_a(9, "AS"), lambda: protection.string_fuse_most_a(9, 15, "AS")):
        with pytest.raises(OutOfRange) as caught:
            rule()
        assert "family 'AS' is outside the rule's range, NEC or IEC" in str(caught.value)


def test_bank_fault() -> None:
    # hand: three strings of 4,000 A give 12,000 A.
    assert protection.bank_fault_a(4000, 3) == 12_000


def test_device_behind_a_conductor() -> None:
    # published: NFPA 70 (NEC) 240.4(B), second-hand; the cases are worked by hand: 85 A takes 90 A, 65 A takes 70 A,
    # 50 A is standard itself, above 800 A no step up; IEC never steps up.
    nec, iec = TABLES.standard_ratings("NEC"), TABLES.standard_ratings("IEC")
    assert [float(protection.device_most_a(amps, nec, True)) for amps in (85, 65, 50, 790, 810, 900)] == [90, 70, 50, 800, 810, 900]
    assert protection.device_most_a(52, iec, False) == 52
    assert protection.device_most_a(np.array([85.0, 50.0]), nec, True).tolist() == [90, 50]
    assert protection.device_most_a(700, (100, 600), True) == 700  # above the last rating nothing is next


def test_no_device_above_the_table() -> None:
    # hand: 630 A ends the IEC ratings of the shipped table.
    assert protection.least_device_a(630, TABLES.standard_ratings("IEC")) == 630
    with pytest.raises(OutOfRange, match="631 A is above the largest standard rating, 630 A"):
        protection.least_device_a(631, TABLES.standard_ratings("IEC"))


# --- what must always hold


@few
@given(current_a=st.floats(0.1, 400), one_way_m=st.floats(0.1, 300), conductor_c=st.floats(-40, 90))
def test_thicker_never_drops_more(current_a: float, one_way_m: float, conductor_c: float) -> None:
    # hand: sizes of one family by area; area and resistance are columns of their own.
    for family in ("NEC", "IEC"):
        by_area = sorted((row for (of, _), row in TABLES.conductors.items() if of == family), key=lambda row: row.area_mm2)
        drops = [
            wiring.voltage_drop_v(current_a, one_way_m, wiring.resistance_at_ohm_km(row.r20_ohm_km, conductor_c)) for row in by_area
        ]
        assert drops == sorted(drops, reverse=True)


@few
@given(one=st.floats(-40, 80), other=st.floats(-40, 80), conductors=st.integers(1, 40))
def test_hotter_or_fuller_never_carries_more(one: float, other: float, conductors: int) -> None:
    # hand: any two temperatures; outside a table there is no answer, never a larger one.
    cold, hot = sorted((one, other))
    for family, insulation_c in TABLES.ambient_factors:
        try:
            in_heat = TABLES.ambient_factor(family, insulation_c, hot)
        except OutOfRange:
            continue
        bundled = TABLES.bundling_factor(family, conductors)
        assert wiring.corrected_ampacity_a(100, in_heat, bundled) <= wiring.corrected_ampacity_a(
            100, TABLES.ambient_factor(family, insulation_c, cold), TABLES.bundling_factor(family, max(1, conductors - 1))
        )


@few
@given(ampacity_a=st.floats(5, 5000))
def test_allowed_device_is_above_the_ampacity_by_the_next_size_only(ampacity_a: float) -> None:
    # hand: between the ampacity and the device no standard rating lies.
    ratings = TABLES.standard_ratings("NEC")
    most = float(protection.device_most_a(ampacity_a, ratings, True))
    assert most >= ampacity_a
    assert not [amps for amps in ratings if ampacity_a * (1 + 1e-9) < amps < most]
    if most > ampacity_a:
        assert most in ratings
        assert most <= 800
    assert float(protection.device_most_a(ampacity_a, ratings, False)) == ampacity_a


@pytest.mark.parametrize(("call", "words"), [
    (lambda: TABLES.ambient_factor("NEC", 60, 56), "ambient temperature 56 C is outside the table of NEC at 60 C, which ends at 55 C"),
    (lambda: TABLES.ambient_factor("NEC", 105, 30), "outside the table of NEC at 105 C, which has no such rows"),
    (lambda: TABLES.bundling_factor("NEC", 41), "41 conductors in a bundle is outside the table of NEC, which ends at 40 conductors"),
    (lambda: TABLES.conductor("NEC", "5 AWG"), "conductor '5 AWG' of family NEC is not in tables/conductors.csv"),
    (lambda: TABLES.conductor("IEC", "6 mm2").ampacity_a(60), "insulation 60 C of 6 mm2 is below every ampacity"),
    (lambda: TABLES.standard_ratings("AS"), "family 'AS' is not in tables/standard_ratings.csv"),
])
def test_outside_a_table_there_is_no_answer(call, words: str) -> None:
    # hand: one step beyond the ends of the shipped tables.
    with pytest.raises(OutOfRange) as caught:
        call()
    assert words in str(caught.value)


# --- equipment earth


def test_earth_conductors_of_the_nec() -> None:
    # published: NFPA 70 (NEC) Table 250.122, copper, from memory: the size beside each rating, and that of the next above it.
    sizes = {15: "14", 20: "12", 60: "10", 100: "8", 200: "6", 300: "4", 400: "3", 500: "2", 600: "1", 800: "1/0"}
    for rating, size in sizes.items():
        assert earthing.earth_by_device_mm2(rating) == TABLES.conductor("NEC", f"{size} AWG").area_mm2
        assert earthing.earth_by_device_mm2(rating - 1) == earthing.earth_by_device_mm2(rating)
    with pytest.raises(OutOfRange, match="earth conductors"):
        earthing.earth_by_device_mm2(801)


def test_earth_conductors_of_the_iec() -> None:
    # published: IEC 60364-5-54 Table 54.2, from memory: S, 16 mm2, S / 2.
    assert [float(area) for area in earthing.earth_by_line_mm2(np.array([1.5, 10, 16, 25, 35, 50, 95]))] == [1.5, 10, 16, 16, 16, 25, 47.5]
