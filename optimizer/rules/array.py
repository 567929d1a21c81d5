"""Modules and strings: voltages in the cold and the heat, currents at a voltage, daily harvest."""

from __future__ import annotations

import numpy as np

from optimizer.errors import OutOfRange
from optimizer.rules.book import Values
from optimizer.rules.validity import within

STANDARD_CELL_C = 25.0
"""Cell temperature of standard test conditions, IEC 61215 (from memory)."""

EDGE_OF_CLOUD = 1.25
"""Share by which an array's current may exceed its short-circuit rating, NFPA 70 (NEC) 690.8(A)."""

LOW_LIGHT_VOC_SHARE = 0.93
"""Open-circuit voltage in low light, as a share of that of a cell as hot as in full sun; common practice, no
source. A tenth of full sun alone leaves 0.89 to 0.92 at 25 C and less when hot, but a cell in low light is not hot:
together they leave more than 0.93, see tests/rules/test_open_module_table.py."""

PWM_KNEE_EXPONENT = 2.0
"""Shape of the assumed current curve past the knee; fitted to De Soto's model over an open module table, so that
the curve lies at or below the model for most modules: see tests/rules/test_open_module_table.py."""

COLDEST_CELL_C = -60.0
"""Coldest cell for which linear coefficients are used; common practice, no source."""

HOTTEST_CELL_C = 100.0
"""Hottest cell for which linear coefficients are used; common practice, no source."""

LINEAR_SOURCE = "linear coefficients: common practice, no source; held against De Soto's model from -40 to 75 C"


def cold_voc_v(voc_v: Values, tc_voc_pct_k: Values, lowest_c: Values) -> Values:
    """Open-circuit voltage of a module at the lowest expected temperature, from the maker's coefficient.

    Formula: Voc,cold = Voc * (1 + beta / 100 * (Tmin - 25))
    voc_v: open-circuit voltage at standard conditions [V]
    tc_voc_pct_k: temperature coefficient of Voc, negative [%/K]
    lowest_c: lowest expected temperature [C]
    returns: open-circuit voltage at that temperature [V]
    Valid: crystalline silicon, -60 to 100 C; at -40 C a sheet's coefficient gives 1 % less (median), at worst 2 %,
    than the one-diode model of a module whose table row agrees with itself
    Source: NFPA 70 (NEC) 690.7(A)(1), maker's coefficient
    >>> round(float(cold_voc_v(38.7, -0.25, -36)), 2)
    44.6
    """
    within(lowest_c, COLDEST_CELL_C, HOTTEST_CELL_C, "lowest temperature", "C", LINEAR_SOURCE)
    return voc_v * (1 + tc_voc_pct_k / 100 * (lowest_c - STANDARD_CELL_C))


def cold_voc_factor(lowest_c: float, steps_c: Values, factors: Values) -> float:
    """Multiplier of the open-circuit voltage where the maker gives no coefficient.

    Formula: the factor of the first step (warmest to coldest) whose lower end is not above Tmin
    lowest_c: lowest expected temperature [C]
    steps_c: lower end of each step, warmest first [C]
    factors: multiplier of each step [share]
    returns: multiplier [share]
    Valid: down to the table's last step; warmer than the first step its factor is used, which is cautious
    Source: NFPA 70 (NEC) Table 690.7(A)
    >>> float(cold_voc_factor(-7, np.array([20, -5, -10]), np.array([1.02, 1.12, 1.14])))
    1.14
    """
    # Steps are whole degrees: -5.5 C is colder than the step that ends at -5 C.
    reached = np.nonzero(np.asarray(steps_c) <= lowest_c)[0]
    if len(reached) == 0:
        raise OutOfRange(
            f"lowest temperature {lowest_c} C is below the table of open-circuit factors (down to "
            f"{np.min(steps_c)} C, NEC Table 690.7(A)): give the module's own coefficient tc_voc_pct_k"
        )
    return float(np.asarray(factors)[reached[0]])


def cell_c(air_c: Values, noct_c: Values, irradiance_w_m2: Values, mounting_factor: Values = 1.0) -> Values:
    """Cell temperature of a module in the sun.

    Formula: Tc = Ta + (NOCT - 20) / 800 * G * k
    air_c: air temperature [C]
    noct_c: nominal operating cell temperature [C]
    irradiance_w_m2: irradiance on the module [W/m2]
    mounting_factor: 1 on an open rack, more where air cannot pass behind [share]
    returns: cell temperature [C]
    Valid: 0 to 1,200 W/m2
    Source: IEC 61215 conditions (from memory); formula widely published (second-hand)
    >>> round(float(cell_c(35, 45, 1000)), 2)
    66.25
    """
    within(irradiance_w_m2, 0, 1200, "irradiance", "W/m2", "cell temperature from NOCT: common practice, no source")
    return air_c + (noct_c - 20) / 800 * irradiance_w_m2 * mounting_factor


def voc_at_cell_v(voc_v: Values, tc_voc_pct_k: Values, cell_temperature_c: Values) -> Values:
    """Open-circuit voltage of a module at a cell temperature.

    Formula: Voc(T) = Voc * (1 + beta / 100 * (T - 25))
    voc_v: open-circuit voltage at standard conditions [V]
    tc_voc_pct_k: temperature coefficient of Voc, negative [%/K]
    cell_temperature_c: cell temperature [C]
    returns: open-circuit voltage [V]
    Valid: crystalline silicon, -60 to 100 C
    Source: IEC 60891, linear translation (from memory)
    >>> round(float(voc_at_cell_v(40, -0.3, 65)), 2)
    35.2
    """
    within(cell_temperature_c, COLDEST_CELL_C, HOTTEST_CELL_C, "cell temperature", "C", LINEAR_SOURCE)
    return voc_v * (1 + tc_voc_pct_k / 100 * (cell_temperature_c - STANDARD_CELL_C))


def vmp_at_cell_v(vmp_v: Values, tc_pmax_pct_k: Values, tc_isc_pct_k: Values, cell_temperature_c: Values) -> Values:
    """Voltage at maximum power of a module at a cell temperature.

    Formula: Vmp(T) = Vmp * (1 + (gamma - alpha) / 100 * (T - 25)); the coefficient of Vmp is roughly that
    of power less that of current, not that of Voc
    vmp_v: voltage at maximum power, standard conditions [V]
    tc_pmax_pct_k: temperature coefficient of power, negative [%/K]
    tc_isc_pct_k: temperature coefficient of short-circuit current [%/K]
    cell_temperature_c: cell temperature [C]
    returns: voltage at maximum power [V]
    Valid: crystalline silicon, -60 to 100 C; within 3 % of the one-diode model up to 50 C, and 1 to 4 % low, which
    is cautious, from 65 to 75 C (95 % of modules whose table row agrees with itself)
    Source: common practice, no source; held against De Soto's model over an open module table
    >>> round(float(vmp_at_cell_v(32.6, -0.37, 0.05, 75)), 2)
    25.75
    """
    within(cell_temperature_c, COLDEST_CELL_C, HOTTEST_CELL_C, "cell temperature", "C", LINEAR_SOURCE)
    return vmp_v * (1 + (tc_pmax_pct_k - tc_isc_pct_k) / 100 * (cell_temperature_c - STANDARD_CELL_C))


def current_at_cell_a(current_a: Values, tc_isc_pct_k: Values, cell_temperature_c: Values) -> Values:
    """Short-circuit or maximum-power current of a module at a cell temperature.

    Formula: I(T) = I * (1 + alpha / 100 * (T - 25))
    current_a: current at standard conditions [A]
    tc_isc_pct_k: temperature coefficient of short-circuit current [%/K]
    cell_temperature_c: cell temperature [C]
    returns: current [A]
    Valid: crystalline silicon, -60 to 100 C
    Source: IEC 60891, linear translation (from memory)
    >>> round(float(current_at_cell_a(10, 0.05, 65)), 2)
    10.2
    """
    within(cell_temperature_c, COLDEST_CELL_C, HOTTEST_CELL_C, "cell temperature", "C", LINEAR_SOURCE)
    return current_a * (1 + tc_isc_pct_k / 100 * (cell_temperature_c - STANDARD_CELL_C))


def power_factor_at_cell(tc_pmax_pct_k: Values, cell_temperature_c: Values) -> Values:
    """Share of its rated power that a module gives at a cell temperature.

    Formula: f = 1 + gamma / 100 * (T - 25)
    tc_pmax_pct_k: temperature coefficient of power, negative [%/K]
    cell_temperature_c: cell temperature [C]
    returns: share of rated power [share]
    Valid: crystalline silicon, -60 to 100 C
    Source: IEC 60891, linear translation (from memory)
    >>> round(float(power_factor_at_cell(-0.4, 65)), 3)
    0.84
    """
    within(cell_temperature_c, COLDEST_CELL_C, HOTTEST_CELL_C, "cell temperature", "C", LINEAR_SOURCE)
    return 1 + tc_pmax_pct_k / 100 * (cell_temperature_c - STANDARD_CELL_C)


def current_at_voltage_a(string_v: Values, isc_a: Values, imp_a: Values, vmp_v: Values, voc_v: Values) -> Values:
    """Current of a string held at a voltage, in full sun, from four points of its curve at its temperature.

    Formula: below Vmp: Isc * (1 - C1 * (exp(V / (C2 * Voc)) - 1)),
    C2 = (Vmp / Voc - 1) / ln(1 - Imp / Isc), C1 = (1 - Imp / Isc) / (exp(Vmp / (C2 * Voc)) - 1), which meets
    Imp at Vmp exactly;
    past Vmp: Imp * (1 - a * u - (1 - a) * u ** p), u = (V - Vmp) / (Voc - Vmp),
    a = (Voc - Vmp) / Vmp, which leaves Vmp with the slope that maximum power demands and stays
    on the cautious side of a one-diode curve for most modules; zero at and above Voc
    string_v: voltage at which the battery and the controller's drop hold the string [V]
    isc_a: short-circuit current at the cells' temperature [A]
    imp_a: current at maximum power at the cells' temperature [A]
    vmp_v: string voltage at maximum power at the cells' temperature [V]
    voc_v: string open-circuit voltage at the cells' temperature [V]
    returns: current [A]
    Valid: Imp < Isc and Vmp < Voc; at a bank's voltages, -40 to 75 C, within 8 % of Imp of the one-diode model in
    98 % of cases (modules whose table row agrees with itself); above it mostly
    where the sheet's coefficient puts Voc above the model's
    Source: four-point curve, common practice, no source; held against De Soto's model, see tests
    >>> [round(float(current_at_voltage_a(v, 5.86, 5.38, 18.6, 22.3)), 2) for v in (14.4, 18.6, 20.5, 22.3)]
    [5.83, 5.38, 3.69, 0.0]
    """
    if np.any(np.asarray(imp_a) >= isc_a) or np.any(np.asarray(vmp_v) >= voc_v):
        raise OutOfRange(
            f"a current curve needs Imp below Isc and Vmp below Voc, but Imp {np.max(imp_a):g} A, Isc {np.min(isc_a):g} A, "
            f"Vmp {np.max(vmp_v):g} V, Voc {np.min(voc_v):g} V are outside that range (four-point curve, "
            "common practice, no source): correct the module's row"
        )
    ratio = 1 - imp_a / isc_a
    c2 = (vmp_v / voc_v - 1) / np.log(ratio)
    here, knee = np.minimum(string_v, vmp_v) / (c2 * voc_v), vmp_v / (c2 * voc_v)
    # C1 * (exp(here) - 1), written so that a square curve does not overflow.
    below = isc_a * (1 - ratio * np.exp(here - knee) * np.expm1(-here) / np.expm1(-knee))
    slope = (voc_v - vmp_v) / vmp_v
    past_knee = np.clip((string_v - vmp_v) / (voc_v - vmp_v), 0, 1)
    past = imp_a * (1 - slope * past_knee - (1 - slope) * past_knee**PWM_KNEE_EXPONENT)
    return np.where(string_v <= vmp_v, below, np.maximum(past, 0.0))


def array_input_current_a(isc_a: Values, strings: Values, bifacial_pct: Values = 0.0) -> Values:
    """Highest current that an array may push into its controller.

    Formula: I = Np * Isc * 1.25 * (1 + bifacial / 100)
    isc_a: short-circuit current of a string at standard conditions [A]
    strings: strings in parallel [count]
    bifacial_pct: gain by light on the back [%]
    returns: maximum current of the array's circuit [A]
    Valid: fixed arrays without reflectors
    Source: NFPA 70 (NEC) 690.8(A)(1)
    >>> round(float(array_input_current_a(13.95, 1)), 2)
    17.44
    """
    return strings * isc_a * EDGE_OF_CLOUD * (1 + bifacial_pct / 100)


def power_tracking_harvest_wh(
    pmax_w: Values, tc_pmax_pct_k: Values, cell_temperature_c: Values, sun_h: Values,
    array_factor: Values, efficiency: Values, output_limit_w: Values,
) -> Values:
    """Energy a day that a maximum-power tracker puts into the bank.

    Formula: E = min(Pstc * (1 + gamma / 100 * (Tc - 25)) * k * eta, Pout,max) * H. The cap takes all
    light to come at full sun, which is cautious: clipping is counted at its worst.
    pmax_w: array power at standard conditions [W]
    tc_pmax_pct_k: temperature coefficient of power, negative [%/K]
    cell_temperature_c: cell temperature while harvesting [C]
    sun_h: sun hours on the array's plane, shade included [h/day]
    array_factor: soiling, mismatch and wire together [share]
    efficiency: controller efficiency [share]
    output_limit_w: charge-current limit times charging voltage [W]
    returns: energy to the bank [Wh/day]
    Valid: arrays of one plane
    Source: common practice, no source
    >>> round(float(power_tracking_harvest_wh(1000, -0.4, 50, 5, 0.9, 0.97, 2000)), 1)
    3928.5
    """
    power_w = pmax_w * power_factor_at_cell(tc_pmax_pct_k, cell_temperature_c) * array_factor * efficiency
    return np.minimum(power_w, output_limit_w) * sun_h


def pwm_harvest_wh(
    string_current_a: Values, strings: Values, charging_v: Values, sun_h: Values, array_factor: Values,
    efficiency: Values,
) -> Values:
    """Energy a day that a PWM controller puts into the bank: a current source at the bank's voltage.

    Formula: E = Np * I(Vbat + drop) * k * eta * Vbat * H
    string_current_a: current of a string at the bank's voltage and the controller's drop [A]
    strings: strings in parallel [count]
    charging_v: bank voltage while charging [V]
    sun_h: sun hours on the array's plane, shade included [h/day]
    array_factor: soiling and mismatch together [share]
    efficiency: controller efficiency [share]
    returns: energy to the bank [Wh/day]
    Valid: current taken proportional to irradiance
    Source: common practice, no source
    >>> round(float(pwm_harvest_wh(5.8, 2, 13.4, 5, 0.92, 0.99)), 1)
    707.9
    """
    return strings * string_current_a * array_factor * efficiency * charging_v * sun_h


def series_cells_wanted(bank_nominal_v: Values) -> Values:
    """Cells in series that a PWM string should have for its bank.

    Formula: 36 per 12 V
    bank_nominal_v: bank's nominal voltage [V]
    returns: cells in series [cells]
    Valid: crystalline silicon, 12, 24 and 48 V banks
    Source: widely published rule, 36 cells per 12 V and 72 per 24 V
    >>> int(series_cells_wanted(24))
    72
    """
    return bank_nominal_v * 3


def modules_in_rectangle(
    rectangle_length_m: float, rectangle_width_m: float, module_length_m: Values, module_width_m: Values, gap_m: float
) -> Values:
    """Modules of one kind that fit a free rectangle, all turned the same way.

    Formula: max over both orientations of floor((A + g) / (a + g)) * floor((B + g) / (b + g))
    rectangle_length_m: one side of the rectangle [m]
    rectangle_width_m: the other side [m]
    module_length_m: length of a module [m]
    module_width_m: width of a module [m]
    gap_m: gap between modules [m]
    returns: modules that fit [count]
    Valid: no obstacles inside the rectangle
    Source: geometry
    >>> int(modules_in_rectangle(2.10, 1.10, 1.000, 0.510, 0.02)), int(modules_in_rectangle(2.10, 1.10, 1.000, 0.510, 0.0))
    (4, 4)
    """
    def along(room_m: float, piece_m: Values) -> Values:
        return np.floor((room_m + gap_m) / (np.asarray(piece_m) + gap_m) + 1e-9)

    upright = along(rectangle_length_m, module_length_m) * along(rectangle_width_m, module_width_m)
    turned = along(rectangle_length_m, module_width_m) * along(rectangle_width_m, module_length_m)
    return np.maximum(upright, turned)
