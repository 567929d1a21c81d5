"""The replay creates and loses no energy, agrees with what can be worked by hand, and gets no worse with more of anything.

Random designs are put together from the parts of the random cases without asking whether they are any good: energy must
add up in a bad design too.
"""

from __future__ import annotations

import random
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from cases import case
from hypothesis import given, settings
from hypothesis import strategies as st

from optimizer import load_catalog, load_problem, solve
from optimizer.bill import PriceList
from optimizer.design import Bank, Block, ConverterUse, Design, InverterBank
from optimizer.errors import OutOfRange
from optimizer.inputs.catalog import shipped_folder
from optimizer.needs.daylight import MONTH_OF_DAY
from optimizer.needs.hours import hour_loads
from optimizer.needs.site import Needs
from optimizer.needs.synthetic import air_hours_c, sky_of
from optimizer.proof.array import derated_output_a
from optimizer.proof.plant import plant_of
from optimizer.proof.replay import LOSSES, _Stepper, live, sunniest_day

YEARS = 2


def random_design(rng, needs, catalog):
    """Some design of a catalog; only what would make no circuit at all is left out."""
    battery = rng.choice(catalog.batteries)
    chemistry = catalog.tables.chemistries[battery.chemistry]
    volts = rng.choice((12, 24, 48))
    series = max(1, round(volts * chemistry.cells_per_12v / 12 / battery.cells))
    inverter = rng.choice(catalog.inverters) if catalog.inverters and needs.demand.has_ac else None
    blocks = tuple(
        Block(device, rng.choice(catalog.modules), rng.randint(1, 3), rng.randint(1, 3), rng.randint(1, 2), device.output_a / 2 if device.kind != "pwm" and rng.random() < 0.3 else None)
        for device in rng.sample(catalog.controllers, min(len(catalog.controllers), rng.randint(1, 2)))
    )
    converters = tuple(ConverterUse(rng.choice(catalog.converters), 1, v) for v in needs.demand.dc_volts if catalog.converters and rng.random() < 0.5)
    return Design(Bank(battery, chemistry, volts, series, rng.randint(1, 3)), blocks, InverterBank(inverter, 1 if inverter else 0), converters)


def random_plant(seed):
    """A plant of a seed with the weather of its site; some loads wait, some say when they run."""
    rng = random.Random(seed)
    problem, catalog = case(seed)
    loads = tuple(
        load.model_copy(update={"critical": rng.choice(("yes", "no", "defer")), "runs": rng.choice((None, "day", "night", "evening", "18-23 6-8"))})
        for load in problem.loads
    )
    problem = problem.model_copy(update={"loads": loads})
    needs = Needs(problem)
    plant = plant_of(needs, random_design(rng, needs, catalog), PriceList(problem, catalog).wiring, hour_loads(needs), new=rng.random() < 0.3)
    return plant, sky_of(problem).plane_w_m2(YEARS, np.random.default_rng(seed)), air_hours_c(problem.temperatures.air_c)


@pytest.mark.parametrize("seed", range(24))
def test_energy_adds_up_in_random_designs(seed):
    try:
        plant, sun, air = random_plant(seed)
    except OutOfRange as bad:  # a trap: a battery that its capacity table does not know so cold
        assert "capacity table" in str(bad)
        return
    lived = live(plant, sun, air)
    year = lived.year
    assert lived.balance_error < 1e-9
    assert min(float(year[name].min()) for name in LOSSES if name != "pwm_voltage_wh") >= 0
    assert float(year["surplus_wh"].min()) >= -1e-6
    assert float(lived.least_charge.min()) >= 0
    assert float(lived.mean_charge.max()) <= 1 + 1e-12
    # Loads: served, unmet, or still waiting for the sun at the end of the year.
    waiting = year["load_wh"] - year["served_wh"] - year["unmet_wh"]
    tight = len(set(plant.takes.deferred_loss)) == 1  # else what waits over the end of a month is served at another loss
    assert waiting == pytest.approx(year["waiting_wh"], abs=(1e-6 if tight else 1e-2) * float(year["load_wh"].max()))
    assert float(waiting.max()) <= float(plant.takes.deferred_most.max()) * (1 + 1e-9) + 1e-6
    # The bank, for itself: what went in and came out again.
    kept = year["charged_wh"] - year["charging_wh"] - year["discharged_wh"] - year["self_discharge_wh"]
    assert kept == pytest.approx(year["stored_wh"], abs=1e-9 * float(year["charged_wh"].max() + plant.store.full_wh))
    if plant.needs.has_other_source:
        assert float(year["unmet_wh"].max()) == 0
    else:
        assert float(year["other_source_wh"].max()) == 0


def test_years_do_not_see_each_other():
    plant, sun, air = random_plant(3)
    both, second = live(plant, sun, air), live(plant, sun[1:], air)
    for name, values in both.year.items():
        assert values[1] == pytest.approx(second.year[name][0], rel=1e-12), name


# --- what can be worked by hand


@cache
def home():
    """A solved site without another source, its loads made constant and critical."""
    problem = load_problem(shipped_folder("problems") / "light_kit.toml")
    answer = solve(problem, load_catalog(), explain=False)
    steady = tuple(load.model_copy(update={"runs": "always", "critical": "yes", "days_per_week": 7.0}) for load in problem.loads)
    temperatures = problem.temperatures.model_copy(update={"battery_c": (25.0,) * 12, "air_c": (25.0,) * 12})
    problem = problem.model_copy(update={"loads": steady, "temperatures": temperatures})
    needs = Needs(problem)
    return plant_of(needs, answer.report.design, PriceList(answer.problem, answer.catalog).wiring, hour_loads(needs))


def plain(plant, **store):
    """A plant whose store has no limits but its size."""
    return replace(plant, store=replace(plant.store, **{
        "charge_w": np.full(12, 1e9), "discharge_w": 1e9, "leak_share": np.zeros(12), "taper": False, **store,
    }))


def asked_w(plant):
    """What system and loads take in every hour [W]."""
    takes = plant.takes.standing + plant.takes.critical + plant.takes.other + plant.takes.deferred
    assert takes.std() < 1e-9 * takes.mean(), "constant in every hour"
    return float(takes.mean())


def sun_that_gives(plant, power_w, air):
    """Constant irradiance at which the arrays put a power into the bank [W/m2], by halving."""
    low, high = 0.0, 1200.0
    for _ in range(80):
        middle = (low + high) / 2
        given = float(plant.harvest(np.full((1, 1), middle), air[:1].reshape(1, 1))["bus_wh"][0, 0])
        low, high = (middle, high) if given < power_w else (low, middle)
    return (low + high) / 2


AIR = np.full(8760, 25.0)


def test_constant_sun_above_a_constant_load():
    # hand: nothing moves the bank; the surplus is what is given less what is taken, all year.
    plant = plain(home())
    need = asked_w(plant)
    year = live(plant, np.full((1, 8760), sun_that_gives(plant, 1.5 * need, AIR)), AIR).year
    assert year["unmet_wh"][0] == 0
    assert year["surplus_wh"][0] == pytest.approx(0.5 * need * 8760, rel=1e-9)
    assert year["discharged_wh"][0] == 0


def test_constant_sun_below_a_constant_load():
    # hand: the bank gives the difference until it is at its floor; then the difference is missing.
    plant = plain(home())
    need = asked_w(plant)
    usable = plant.store.full_wh - float(plant.store.floor_wh[0])
    year = live(plant, np.full((1, 8760), sun_that_gives(plant, 0.8 * need, AIR)), AIR).year
    assert year["discharged_wh"][0] == pytest.approx(usable, rel=1e-9)
    assert year["surplus_wh"][0] == pytest.approx(0, abs=1e-6)
    short = 0.2 * need * 8760 - usable
    lost = float(plant.takes.critical_loss[0, 0, 0])
    assert year["unmet_wh"][0] == pytest.approx(short * (1 - lost), rel=1e-8)
    assert year["short_h"][0] == 8760 - int(usable / (0.2 * need))


@pytest.mark.parametrize("efficiency", [1.0, 0.8])
def test_half_a_day_of_sun_and_a_constant_load(efficiency):
    # hand: twelve hours carry the night; the bank swings by the load of twelve hours and the loss is that of refilling it.
    plant = plain(home(), efficiency=efficiency)
    need = asked_w(plant)
    power = need * 3
    sun = np.tile(np.repeat((0.0, sun_that_gives(plant, power, AIR), 0.0), (6, 12, 6)), 365)[None, :]
    lived = live(plant, sun, AIR)
    swing = 12 * need
    assert power > need + swing / efficiency / 12, "enough to refill"
    assert lived.year["unmet_wh"][0] == 0
    assert lived.year["discharged_wh"][0] == pytest.approx(365 * swing, rel=1e-9)
    # The first morning starts full after six hours of night, the last evening ends six hours into it.
    refilled = 364 * swing + swing / 2
    assert lived.year["charging_wh"][0] == pytest.approx(refilled * (1 / efficiency - 1), rel=1e-9, abs=1e-6)
    assert float(lived.least_charge[:, 0].min()) == pytest.approx(1 - swing / plant.store.full_wh, rel=1e-9)


def test_without_sun_it_lasts_as_long_as_the_autonomy_rule_says():
    """The rule's days without sun, from the other side: it counts the same usable storage and the same load."""
    plant = plain(home())
    needs, core = plant.needs, plant.core
    usable, _ = core.usable(needs.seasons[0])
    own = sum(block.device.self_w * 24 * block.count for block in plant.design.blocks)
    leak = core.bank_standby_wh(needs.seasons[0]) - core.bank.battery.bms_w * 24 * core.bank.units  # the plain store leaks nothing
    load_day = core.load_wh(needs.seasons[0].demand.use_day_wh, 0, week=False) - leak + own
    assert asked_w(plant) * 24 == pytest.approx(load_day, rel=1e-9)
    year = live(plant, np.zeros((1, 8760)), AIR).year
    assert year["discharged_wh"][0] == pytest.approx(usable, rel=1e-9)
    assert 8760 - year["short_h"][0] == int(usable / load_day * 24)


def test_lead_acid_takes_less_and_less_near_full():
    # hand: the gap to full shrinks by the same share every hour (current falls in a line) until the tail takes over.
    plant = plain(home(), efficiency=1.0)
    full = plant.store.full_wh
    floor = np.zeros(12)
    limit = 0.05 * full
    plant = replace(plant, store=replace(plant.store, taper=True, charge_w=np.full(12, limit), tail_w=0.005 * full, floor_wh=floor))
    stepper = _Stepper(plant, 1)
    stepper.held = np.array([0.7 * full])
    moved, held, _ = stepper._bank(0, np.full((24, 1), 1e9))
    gaps, expected = 1 - held[:, 0] / full, []
    gap = 0.3
    for _ in range(24):
        gap -= min(0.05, max(0.05 * gap / 0.2, 0.005), gap)
        expected.append(gap)
    assert gaps == pytest.approx(expected, abs=1e-12)
    assert moved[0, 0] == pytest.approx(limit)
    assert moved[12, 0] < limit


def test_cold_lithium_is_not_charged():
    plant = home()
    battery = plant.design.bank.battery
    assert plant.design.bank.is_lithium
    problem = plant.needs.problem
    cold = problem.temperatures.model_copy(update={"battery_c": (battery.charge_t_min_c - 1,) * 6 + (battery.charge_t_min_c + 1,) * 6})
    needs = Needs(problem.model_copy(update={"temperatures": cold}))
    store = plant_of(needs, plant.design, PriceList(plant.needs.problem, load_catalog()).wiring, hour_loads(needs)).store
    assert (store.charge_w == 0).tolist() == [True] * 6 + [False] * 6


def test_a_year_starts_full_in_its_sunniest_month():
    plant = home()
    day = sunniest_day(plant)
    sun = np.array(plant.needs.problem.array.sun_h)
    assert sun[MONTH_OF_DAY[day]] == sun.max()
    lived = live(plant, np.zeros((1, 8760)), AIR)
    assert lived.mean_charge[day, 0] == lived.mean_charge.max()


# --- more is never worse


@settings(max_examples=4, deadline=None)
@given(seed=st.integers(0, 10_000), array=st.floats(1, 3), bank=st.floats(0, 3), sun=st.floats(1, 1.2), efficiency=st.floats(0.7, 1))
def test_more_array_bank_or_sun_never_leaves_more_unmet(seed, array, bank, sun, efficiency):
    """For a plain store. With limits of current it need not hold hour by hour: a fuller lead-acid bank takes less."""
    base = plain(home(), efficiency=efficiency)
    rng = np.random.default_rng(seed)
    weak = np.repeat(rng.uniform(0, 1, (20, 365)) ** 3, 24, axis=1) * np.tile(np.clip(np.sin(np.linspace(-np.pi / 2, 1.5 * np.pi, 24)), 0, 1) * 700, 365)
    unmet = live(base, weak, AIR).year["unmet_wh"]
    larger = replace(base, design=replace(base.design, blocks=tuple(replace(block, strings=block.strings * max(1, round(array))) for block in base.design.blocks)))
    roomier = replace(base, store=replace(base.store, full_wh=base.store.full_wh * (1 + bank), floor_wh=base.store.floor_wh))
    tiny = 1e-6 * float(unmet.max() + 1)
    assert np.all(live(larger, weak, AIR).year["unmet_wh"] <= unmet + tiny)
    assert np.all(live(roomier, weak, AIR).year["unmet_wh"] <= unmet + tiny)
    assert np.all(live(base, weak * sun, AIR).year["unmet_wh"] <= unmet + tiny)
    assert float(unmet.max()) > 0, "a site where it matters"


# --- against other code


@cache
def solved(name):
    answer = solve(load_problem(shipped_folder("problems") / f"{name}.toml"), load_catalog(), explain=False)
    needs = answer.report.whole.needs
    return answer, plant_of(needs, answer.report.design, PriceList(answer.problem, answer.catalog).wiring, hour_loads(needs))


@pytest.mark.parametrize("name", ["light_kit", "market_stall", "weekend_cabin", "camper", "river_lodge", "year_round_home"])
def test_an_hour_like_those_of_the_rules_harvests_what_they_say(name):
    """The monthly rules take cells as at 800 W/m2: an hour of 800 W/m2 is 0.8 of their sun hours."""
    answer, plant = solved(name)
    whole, needs = answer.report.whole, plant.needs
    for facts, block, way in zip(whole.facts, plant.design.blocks, plant.ways, strict=True):
        alone = replace(plant, design=replace(plant.design, blocks=(block,)), ways=(way,))
        for at in range(len(needs.months)):
            found = alone.harvest(np.array([[800.0]]), np.array([[needs.air_c[at]]]))
            told = facts.harvest_wh[at] * block.count * 0.8 / needs.plane_sun_h[0, at]
            limit_a = min(derated_output_a(needs, block), block.limit_a or np.inf)
            if block.device.kind != "pwm" and told >= 0.8 * limit_a * block.count * plant.design.bank.charging_v * (1 - 1e-9):
                assert found["bus_wh"][0, 0] >= told  # the cap binds at full sun in the rules, at 800 W/m2 here
            else:
                assert found["bus_wh"][0, 0] == pytest.approx(told, rel=1e-9)


def by_hand(plant, sun, air):
    """The same year, stepped by plain numbers one after the other: sums of what is missing, kept, drawn and left."""
    takes, store = plant.takes, plant.store
    held, waiting = store.full_wh, 0.0
    sums = dict.fromkeys(("missing", "into", "out", "surplus", "hours"), 0.0)
    first = sunniest_day(plant)
    for lived in range(365):
        day = (first + lived) % 365
        month = int(MONTH_OF_DAY[day])
        bus = plant.harvest(sun[day * 24:day * 24 + 24, None], air[day * 24:day * 24 + 24, None])["bus_wh"][:, 0]
        for hour in range(24):
            at = (month, day % 7, hour)
            held -= held * store.leak_share[month]
            asked = takes.standing[at] + takes.critical[at] + takes.other[at]
            net = bus[hour] - asked
            wanted = waiting + takes.deferred[at]
            late = min(wanted, takes.deferred_w[month], max(net, 0))
            waiting = min(wanted - late, takes.deferred_most[month])
            missing = wanted - late - waiting
            net -= late
            if net >= 0:
                room = min((store.full_wh - held) / store.efficiency, store.charge_w[month])
                if store.taper:
                    slowed = store.charge_w[month] * (store.full_wh - held) / (0.2 * store.full_wh)
                    room = min(room, max(slowed, min(store.tail_w, store.charge_w[month])))
                into = min(net, room)
                held += into * store.efficiency
                sums["into"] += into
                sums["surplus"] += net - into
            else:
                out = min(-net, max(held - store.floor_wh[month], 0.0), store.discharge_w)
                held -= out
                sums["out"] += out
                missing += -net - out
            sums["missing"] += missing
            sums["hours"] += missing > 1e-6
    return sums, held


@pytest.mark.parametrize("seed", [2, 5, 12])
def test_the_vectors_step_as_plain_numbers_do(seed):
    plant, sun, air = random_plant(seed)
    lived = live(plant, sun, air)
    sums, held = by_hand(plant, sun[0], air)
    assert lived.missing_wh[:, 0].sum() == pytest.approx(sums["missing"], rel=1e-9, abs=1e-6)
    assert lived.year["charged_wh"][0] == pytest.approx(sums["into"], rel=1e-9)
    assert lived.year["discharged_wh"][0] == pytest.approx(sums["out"], rel=1e-9)
    assert lived.year["surplus_wh"][0] == pytest.approx(sums["surplus"], rel=1e-9, abs=1e-6)
    assert lived.year["stored_wh"][0] == pytest.approx(held - plant.store.full_wh, rel=1e-9, abs=1e-6)


def test_random_plants_have_what_the_tests_are_about():
    """Loads that wait, PWM controllers, lead-acid, other sources and missing energy are among the random plants."""
    seen = set()
    for seed in range(24):
        try:
            plant, _, _ = random_plant(seed)
        except OutOfRange:
            continue
        seen |= {"waits"} if plant.takes.deferred.any() else set()
        seen |= {block.device.kind for block in plant.design.blocks}
        seen |= {"taper"} if plant.store.taper else {"no taper"}
        seen |= {"source"} if plant.needs.has_other_source else {"alone"}
    assert seen >= {"waits", "pwm", "mppt", "taper", "no taper", "source", "alone"}
