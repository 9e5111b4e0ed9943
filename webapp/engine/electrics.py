"""The electrical side of the tests: a sensor's volts as pressure, a dummy load, and driving a coil from outside.

Rules for this file: V, bar, ohm, A, W, s, degC; results in plain figures with the cautions that belong to them.
Method: a line through two points of the sensor's data, the volts taken back to the reference that the line was drawn for;
Ohm's law and the power averaged over the duty; heat in the coil that nothing carries away (adiabatic).
Sources: ratiometric convention 10 to 90 % of the reference: common practice, no published source. Resistance series E12:
IEC 60063 (from memory). Copper: resistance coefficient 0.00393 per K at 20 degC, specific heat 385 J/(kg K); steel
460 J/(kg K): handbook values from memory. Rating margin, mass of a coil where none is given and highest coil temperature are
judgement and said so in the answers.
"""

import math

from .numeric import is_number
from .problems import EngineError, Problem, refuse, show

NOMINAL_REFERENCE_V = 5.0
REFERENCE_LOW_V, REFERENCE_HIGH_V = 4.75, 5.25  # common practice, as the limit of sensor_reference_voltage
UNDER_RANGE, OVER_RANGE = 0.04, 0.96  # of the reference: common practice, as clamped by sensor electronics
HIGHEST_V, HIGHEST_BAR = 100.0, 5000.0
E12 = (1.0, 1.2, 1.5, 1.8, 2.2, 2.7, 3.3, 3.9, 4.7, 5.6, 6.8, 8.2, 10.0)
RATINGS_W = (0.25, 0.5, 1.0, 2.0, 3.0, 5.0, 7.0, 10.0, 15.0, 20.0, 25.0, 50.0, 75.0, 100.0, 150.0, 200.0, 250.0, 300.0)
RATING_MARGIN = 2.0  # judgement: a resistor in still air at half of its rating gets hot, not dangerous
COPPER_PER_K, COPPER_J_KG_K, STEEL_J_KG_K = 0.00393, 385.0, 460.0
COIL_COPPER_KG, COIL_STEEL_KG = (
    0.010,
    0.020,
)  # judgement: a small valve's winding, and the part of its iron that warms with it
HOTTEST_COIL_C, WARM_COIL_C = 120.0, 60.0  # judgement: enamel and plastic stand more, not for long; coil on a warm engine
COIL_MARGIN = 0.5  # judgement: half of the adiabatic time
LOAD_CAUTIONS = (
    "The resistor gets hot: mount it on metal, away from wiring and fuel, and do not touch it.",
    "It stands in for the coil's current only, not for its inductance: some control units notice.",
)
DRIVE_CAUTIONS = (
    "Never beyond the highest pressure that the maker allows; watch the pressure while the coil is driven.",
    "Put a dummy load on the control unit's plug and a diode or suppressor across the coil.",
    "Short bursts; let the coil cool between them. Stop when it is too hot to touch.",
)


def check_amount(request: dict, name: str, low: float, high: float, unit: str, default: float | None = None) -> float:
    """Return one number of a request, or the default where it is left out.

    Refuses: missing, not_a_number, impossible_value.
    """
    value = request.get(name)
    if value is None:
        if default is None:
            raise refuse("missing", name, f"is missing; give it in {unit}")
        return default
    if not is_number(value):
        raise refuse("not_a_number", name, f"{show(value)} is not a number; give it in {unit}")
    if not low <= value <= high:
        raise refuse("impossible_value", name, f"{value:g} {unit} cannot be; it lies between {low:g} and {high:g}")
    return value  # type: ignore[no-any-return]


def check_sensor(points: object, field: str = "sensor") -> list:
    """Return the two [V, bar] points of a sensor. Refuses: not_a_pair, not_a_number, impossible_value."""
    text = "give two points of the sensor's data, [[volts, bar], [volts, bar]]"
    if not isinstance(points, list) or len(points) != 2:
        raise refuse("not_a_pair", field, f"{show(points)}: {text}")
    problems = []
    for i in range(2):
        if not isinstance(points[i], list) or len(points[i]) != 2 or not all([is_number(x) for x in points[i]]):
            problems.append(Problem("not_a_number", f"{field}[{i}]", f"{show(points[i])}: {text}"))
        elif not (abs(points[i][0]) <= HIGHEST_V and abs(points[i][1]) <= HIGHEST_BAR):
            limits = f"at most {HIGHEST_V:g} V and {HIGHEST_BAR:g} bar"
            problems.append(Problem("impossible_value", f"{field}[{i}]", f"{show(points[i])} cannot be; {limits}"))
    if problems:
        raise EngineError(problems)
    if points[0][0] == points[1][0] or points[0][1] == points[1][1]:
        raise refuse("impossible_value", field, f"{show(points)}: the two points must differ in volts and in bar")
    return points


def transfer_line(points: list) -> tuple:
    """Return (bar at 0 V, bar per V) of the line through two points [V, bar]. Example: 0.5 0, 4.5 1800 gives -225, 450."""
    (v0, bar0), (v1, bar1) = points
    slope = (bar1 - bar0) / (v1 - v0)
    return bar0 - slope * v0, slope


def sensor_pressure(request: dict) -> dict:
    """Return the pressure that a sensor's volts stand for.

    Inputs: "volts" [V]; "sensor" [[V, bar], [V, bar]] at a reference of "nominal_reference_v" (5 when left out);
    "reference_v" [V] read at the plug (None: nominal is assumed).
    Returns: {"bar", "bar_at_nominal" (without the correction), "reference_assumed", "warnings"}.
    Refuses: missing, not_a_number, impossible_value, not_a_pair.
    Valid when: the sensor is ratiometric, its signal a fixed share of the reference for each pressure.
    Example: 0.5 V 0 bar, 4.5 V 1800 bar: 1.0 V at a real reference of 4.80 V is 243.75 bar, not 225.
    """
    points = check_sensor(request.get("sensor"))
    volts = check_amount(request, "volts", -HIGHEST_V, HIGHEST_V, "V")
    nominal = check_amount(request, "nominal_reference_v", 0.5, HIGHEST_V, "V", NOMINAL_REFERENCE_V)
    assumed = request.get("reference_v") is None
    reference = check_amount(request, "reference_v", 0.5, HIGHEST_V, "V", nominal)
    at_zero, slope = transfer_line(points)
    share, warnings = volts / reference, []
    if assumed:
        warnings.append("The reference was not read; a low one makes the pressure read low. Read it at the sensor's plug.")
    elif not REFERENCE_LOW_V <= reference * NOMINAL_REFERENCE_V / nominal <= REFERENCE_HIGH_V:
        warnings.append(
            f"A reference of {reference:g} V is outside what is usual: mend the feed before believing the sensor."
        )
    if not UNDER_RANGE <= share <= OVER_RANGE:
        warnings.append(f"{volts:g} V lies outside a sensor's usual range: look for an open or shorted wire first.")
    bar = at_zero + slope * volts * nominal / reference
    return {"bar": bar, "bar_at_nominal": at_zero + slope * volts, "reference_assumed": assumed, "warnings": warnings}


def next_above(table: tuple, value: float) -> float | None:
    """Return the least entry of a rising table that is not below a value, None when there is none."""
    for entry in table:
        if entry >= value:
            return entry  # type: ignore[no-any-return]
    return None


def nearest_e12(ohm: float) -> float:
    """Return the nearest value of the E12 series, by ratio. Example: 3.1 gives 3.3."""
    decade = 10.0 ** math.floor(math.log(ohm) / math.log(10.0) + 1e-12)
    best = E12[0]
    for entry in E12:
        if abs(math.log(ohm / (decade * entry))) < abs(math.log(ohm / (decade * best))):
            best = entry
    return float(f"{decade * best:.6g}")


def dummy_load(request: dict) -> dict:
    """Return the resistor that stands in for an unplugged coil.

    Inputs: "coil_ohm" [ohm] of the coil, cold; "supply_v" [V]; "duty" share of the time that it is on, 0 to 1 (1 when left
    out: the worst).
    Returns: {"resistor_ohm" (nearest E12), "current_a" while on, "power_w" (mean over the duty), "rating_w" (next usual
    rating with a margin of 2; None above 300 W), "basis", "warnings"}.
    Refuses: missing, not_a_number, impossible_value.
    Example: 3 ohm at 14 V and 40 % duty: 3.3 ohm, 4.24 A, 23.8 W, a resistor of 50 W.
    """
    coil = check_amount(request, "coil_ohm", 0.05, 1000.0, "ohm")
    supply = check_amount(request, "supply_v", 1.0, 60.0, "V")
    duty = check_amount(request, "duty", 0.0, 1.0, "share", 1.0)
    resistor = nearest_e12(coil)
    power = duty * supply * supply / resistor
    rating = next_above(RATINGS_W, RATING_MARGIN * power)
    warnings = list(LOAD_CAUTIONS)
    if rating is None:
        warnings.append(
            f"{power:.0f} W is more than a single resistor should carry: check the coil resistance, share the load."
        )
    return {
        "resistor_ohm": resistor, "current_a": supply / resistor, "power_w": power, "rating_w": rating,
        "basis": "Ohm's law; rating margin of 2 is judgement, usual ratings from memory", "warnings": warnings,
    }  # fmt: skip


def coil_current(supply_v: float, cold_ohm: float, coil_c: float) -> float:
    """Return the coil's current at a coil temperature; copper, resistance given at 20 degC."""
    return supply_v / (cold_ohm * (1.0 + COPPER_PER_K * (coil_c - 20.0)))


def outside_drive(request: dict) -> dict:
    """Return current, heat and the longest time of driving a coil from outside.

    Inputs: "coil_ohm" [ohm at 20 degC], "supply_v" [V], "duty" (1 when left out), "start_c" [degC] coil before
    (60 when left out), "hottest_c" [degC] (120 when left out), "copper_kg", "steel_kg" [kg] masses that warm together
    (judgement when left out), "most_a" [A] that the maker allows (None: unknown).
    Returns: {"current_a" at 20 degC (the most), "current_hot_a", "power_w" mean at the start, "energy_j" that warms the coil
    to hottest_c, "adiabatic_s" in which the power at the start does so, "on_time_s" (half of it: a margin), "basis",
    "warnings"}.
    Refuses: missing, not_a_number, impossible_value.
    Valid when: no heat leaves; the real coil is cooler. Example: 3 ohm, 12 V, from 60 to 120 degC with 10 g copper and 20 g
    steel: 783 J at 41.5 W last 18.9 s, so 9.4 s.
    """
    cold = check_amount(request, "coil_ohm", 0.05, 1000.0, "ohm")
    supply = check_amount(request, "supply_v", 1.0, 60.0, "V")
    duty = check_amount(request, "duty", 0.01, 1.0, "share", 1.0)
    start = check_amount(request, "start_c", -40.0, 150.0, "degC", WARM_COIL_C)
    hottest = check_amount(request, "hottest_c", -40.0, 200.0, "degC", HOTTEST_COIL_C)
    copper = check_amount(request, "copper_kg", 0.0005, 1.0, "kg", COIL_COPPER_KG)
    steel = check_amount(request, "steel_kg", 0.0, 5.0, "kg", COIL_STEEL_KG)
    if hottest <= start:
        raise refuse(
            "impossible_value", "hottest_c", f"{hottest:g} degC must be above start_c, {start:g}; let the coil cool"
        )
    power = duty * supply * coil_current(supply, cold, start)
    energy = (copper * COPPER_J_KG_K + steel * STEEL_J_KG_K) * (hottest - start)
    most = request.get("most_a")
    warnings = list(DRIVE_CAUTIONS)
    current = supply / cold
    if most is None:
        warnings.append("The coil's highest current is not known: limit it to what the control unit drives.")
    elif current > check_amount(request, "most_a", 0.01, 200.0, "A"):
        warnings.append(
            f"{current:.1f} A is above the {most:g} A allowed: lower the voltage or the duty, or limit the current."
        )
    given = request.get("copper_kg") is not None
    return {
        "current_a": current, "current_hot_a": coil_current(supply, cold, hottest), "power_w": power, "energy_j": energy,
        "adiabatic_s": energy / power, "on_time_s": COIL_MARGIN * energy / power,
        "basis": f"adiabatic; masses {'given' if given else 'judgement'}; margin of 2 judgement; copper, steel from memory",
        "warnings": warnings,
    }  # fmt: skip
