"""A virtual vehicle: a small physical model that answers every check under every fault, for practice, demo and validation.

Rules for this file: no judgement of readings and no limit; values are true values, instruments add their error elsewhere;
chance is a seed, so the same seed is the same vehicle on every interpreter.
Method: while cranking, pump delivery = leaks at equilibrium, so p = Q / (pump slip + injector returns + regulator + relief +
outside leak), all leaks proportional to pressure; the regulator caps it at the commanded pressure, unplugged at its spring.
The rise follows p_end (1 - exp(-t/tau)) with tau = V / (K * leaks) after a dead time. A fault changes one of the parameters
by its severity. Flows in mL/min, pressures in bar, leak coefficients in mL/min per bar.
Sources: hydraulics.py for the equations; every range is judgement, chosen to span believable engines, not measured.
"""

import math

PAIRS = {
    "pump_and_injectors": ("pump_worn", "injector_return_high"),
    "supply_and_air": ("supply_restricted", "air_in_supply"),
}
MASK = (1 << 64) - 1
DISPLAY_AT_REST_BAR = 18.0  # common practice: half a volt is shown as 16 to 20 bar
BAR_PER_SENSOR_VOLT = 450.0  # judgement: a 0 to 1800 bar sensor
RUNS_FROM_BAR = 200.0  # common practice: an engine can usually start from about 200 bar
NOT_REACHED_S = 30.0


def make_draw(seed: int) -> object:
    """Return a function that gives the next number of [0, 1), the same on both interpreters (a 64-bit congruential one).

    Source: multiplier and increment as published by D. Knuth for his MMIX, from memory.
    """
    state = [(seed * 2862933555777941757 + 3037000493) & MASK]

    def draw() -> float:
        for _ in range(2):
            state[0] = (state[0] * 6364136223846793005 + 1442695040888963407) & MASK
        return float(state[0] >> 11) / 9007199254740992.0

    return draw


def between(draw: object, low: float, high: float) -> float:
    """Return an even draw from low..high."""
    return low + (high - low) * draw()  # type: ignore[operator, no-any-return]


def log_between(draw: object, low: float, high: float) -> float:
    """Return a draw from low..high, even in the logarithm."""
    return low * math.exp(draw() * math.log(high / low))  # type: ignore[operator, no-any-return]


def choose(draw: object, rows: list) -> object:
    """Return one of [(value, weight), ...]."""
    left = draw() * sum([weight for _, weight in rows])  # type: ignore[operator]
    for value, weight in rows:
        left -= weight
        if left < 0.0:
            return value
    return rows[-1][0]


def spread(draw: object, middle: float, share: float, wide: float) -> float:
    """Return middle, give or take a share of it; `wide` widens the range (1 as derived, 1.3 for validation)."""
    return middle * (1.0 + share * wide * (2.0 * draw() - 1.0))  # type: ignore[operator, no-any-return]


def sound_car(draw: object, layout: str, supply: str, cylinders: int, wide: float) -> dict:
    """Return the parameters of a vehicle without a fault."""
    speed = spread(draw, 235.0, 0.20, wide)
    per_injector = spread(draw, 0.130, 0.5, wide)
    injectors = [per_injector * (1.0 + 0.18 * wide * (2.0 * draw() - 1.0)) for _ in range(cylinders)]  # type: ignore[operator]
    slip = spread(draw, 0.17, 0.6, wide)
    leaks = slip + sum(injectors)
    command = spread(draw, 325.0, 0.06, wide)
    reserve = spread(draw, 1.9, 0.3, wide)  # how far the pump could go beyond the command while cranking
    per_rev = reserve * command * leaks / (speed / 2.0)
    # volume to fill to the command by the delivery in about half a second
    rise_s = spread(draw, 0.40, 0.45, wide)
    return {
        "layout": layout, "supply": supply, "cylinders": cylinders, "fault": "no_pressure_fault", "severity": 0.0,
        "battery_v": spread(draw, 12.55, 0.015, wide), "battery_crank_v": spread(draw, 10.7, 0.06, wide),
        "speed_rpm": speed, "fuel": "yes", "condition": "clean", "outside": 0.0,
        "supply_bar": spread(draw, 4.2, 0.27, wide), "suction_bar": spread(draw, -0.22, 0.5, wide), "air": "none",
        "fill": 1.0, "reference_v": spread(draw, 5.0, 0.008, wide), "signal_offset_v": 0.02 * wide * (2.0 * draw() - 1.0),  # type: ignore[operator]
        "display_offset_bar": 0.0, "feed_v": spread(draw, 12.2, 0.04, wide), "sync": "yes", "command_bar": command,
        "per_rev_ml": per_rev, "slip": slip, "injectors": injectors, "metering": 1.0, "metering_full": 1.0,
        "regulator_leak": spread(draw, 0.004, 0.8, wide), "regulator_works": True,
        "spring_bar": spread(draw, 76.0, 0.17, wide),
        "relief_leak": spread(draw, 0.003, 0.9, wide), "static_share": spread(draw, 0.06, 0.5, wide),
        "capacity_ml_bar": per_rev * speed / 2.0 * rise_s / 60.0 / command, "dead_s": spread(draw, 0.38, 0.35, wide),
        "drive_cap_bar": spread(draw, 850.0, 0.25, wide), "regulator_ohm": spread(draw, 3.0, 0.2, wide),
        "metering_ohm": spread(draw, 3.0, 0.25, wide),
        "injector_ohm": [spread(draw, 0.36, 0.03, wide) for _ in range(cylinders)],
        "runs_error_bar": 12.0 * wide * (2.0 * draw() - 1.0),  # type: ignore[operator]
    }  # fmt: skip


def total_leak(car: dict) -> float:
    """Return all leaks while cranking in mL/min per bar."""
    relief = car["relief_leak"] if car["layout"] == "metering-only" else 0.0
    regulator = 0.0 if car["layout"] == "metering-only" else car["regulator_leak"]
    return car["slip"] + sum(car["injectors"]) + regulator + relief + car["outside"]  # type: ignore[no-any-return]


def leak_for(car: dict, pressure_bar: float) -> float:
    """Return the leak to add so that cranking comes to rest at pressure_bar."""
    return max(delivery(car, car["metering"]) / pressure_bar - total_leak(car), 0.0)


def delivery(car: dict, metering: float) -> float:
    """Return what the pump compresses in mL/min at this opening of its inlet."""
    return car["per_rev_ml"] * car["speed_rpm"] / 2.0 * car["fill"] * metering  # type: ignore[no-any-return]


def worst_pressure(draw: object, severity: float) -> float:
    """Return the pressure that a fault of this severity leaves: from just below the usual limit down to nothing."""
    return 275.0 * math.exp(-2.6 * severity) + between(draw, -6.0, 4.0)


def wear_pump(car: dict, draw: object, severity: float) -> None:
    car["slip"] += leak_for(car, worst_pressure(draw, severity))


def leak_injectors(car: dict, draw: object, severity: float) -> None:
    """One or two injectors in most cases, seldom all; what they lose together brings the pressure down."""
    bad = min(int(choose(draw, [(1, 0.62), (2, 0.25), (car["cylinders"], 0.13)])), car["cylinders"])  # type: ignore[call-overload]
    extra = max(leak_for(car, worst_pressure(draw, severity)), 2.2 * bad * max(car["injectors"]))
    first = int(draw() * car["cylinders"])  # type: ignore[operator]
    for i in range(bad):
        car["injectors"][(first + i) % car["cylinders"]] += extra / bad * between(draw, 0.85, 1.15)


def leak_regulator(car: dict, draw: object, severity: float) -> None:
    car["regulator_leak"] += leak_for(car, worst_pressure(draw, severity))
    if draw() < 0.5:  # type: ignore[operator]
        car["spring_bar"] *= between(draw, 0.25, 0.75)


def break_regulator_circuit(car: dict, draw: object, severity: float) -> None:
    """Coil open or shorted, or its feed or wire gone: the spring alone holds."""
    car["regulator_works"] = False
    kind = choose(draw, [("open", 0.4), ("short", 0.25), ("feed", 0.35)])
    if kind == "feed":
        car["feed_v"] = between(draw, 0.0, 9.0)
    else:
        car["regulator_ohm"] = log_between(draw, 15.0, 1e5) if kind == "open" else between(draw, 0.2, 1.4)


def stick_metering(car: dict, draw: object, severity: float) -> None:
    """The inlet stays part closed; full drive frees it."""
    leaks, command = total_leak(car), worst_pressure(draw, severity)
    car["metering"] = min(max(command * leaks / delivery(car, 1.0), 0.005), 1.0)
    car["metering_full"] = between(draw, 0.85, 1.0)


def seize_metering(car: dict, draw: object, severity: float) -> None:
    """As above, and full drive does not free it: to every listed reading a worn pump."""
    stick_metering(car, draw, severity)
    car["metering_full"] = min(car["metering"] * between(draw, 1.0, 1.12), 1.0)


def break_metering_circuit(car: dict, draw: object, severity: float) -> None:
    car["metering_ohm"] = choose(draw, [(log_between(draw, 18.0, 1e5), 0.6), (between(draw, 0.1, 1.0), 0.4)])
    car["metering"] = between(draw, 0.03, 0.5)
    car["metering_full"] = between(draw, 0.85, 1.0)


def shift_sensor(car: dict, draw: object, severity: float) -> None:
    """The sensor reads off by the same amount everywhere: the control unit lets down or drives up the true pressure."""
    size = (0.12 + 0.9 * severity) * (1.0 if draw() < 0.6 else -0.4)  # type: ignore[operator]
    car["signal_offset_v"] += size
    car["display_offset_bar"] = size * BAR_PER_SENSOR_VOLT


def break_sensor_circuit(car: dict, draw: object, severity: float) -> None:
    kind = choose(draw, [("reference", 0.5), ("low", 0.25), ("high", 0.25)])
    if kind == "reference":
        car["reference_v"] = choose(draw, [(between(draw, 0.0, 4.3), 0.7), (between(draw, 5.6, 11.0), 0.3)])
    car["signal_offset_v"] = {"reference": -0.5, "low": -0.49, "high": 4.4}[kind]  # type: ignore[index]
    car["display_offset_bar"] = 0.0
    car["regulator_works"] = False


def starve(car: dict, draw: object, severity: float) -> None:
    """A blocked filter or a weak lift pump: less pressure before the pump, chambers half filled."""
    car["fill"] *= min(worst_pressure(draw, severity) * total_leak(car) / delivery(car, 1.0), 0.8)
    car["supply_bar"] = between(draw, 0.15, 2.2)
    car["suction_bar"] = between(draw, -0.92, -0.56)


def let_air_in(car: dict, draw: object, severity: float) -> None:
    car["fill"] *= min(worst_pressure(draw, severity) * total_leak(car) / delivery(car, 1.0), 0.8)
    car["air"] = "continuous" if severity > 0.35 else choose(draw, [("some", 0.55), ("continuous", 0.45)])
    car["supply_bar"] *= between(draw, 0.6, 1.0)
    car["suction_bar"] = between(draw, -0.12, -0.005)


def spoil_fuel(car: dict, draw: object, severity: float) -> None:
    kind = choose(draw, [("none", 0.35), ("water", 0.25), ("wrong", 0.25), ("dirty", 0.15)])
    car["fill"] *= between(draw, 0.05, 0.6) if kind == "none" else between(draw, 0.3, 0.9)
    if kind == "none":
        car["fuel"] = "no"
        car["air"] = choose(draw, [("some", 0.3), ("continuous", 0.6), ("none", 0.1)])
        car["supply_bar"] *= between(draw, 0.05, 0.6)
    else:
        car["condition"] = kind


def slow_starter(car: dict, draw: object, severity: float) -> None:
    before = car["speed_rpm"]
    car["speed_rpm"] = 142.0 - 80.0 * severity + between(draw, -5.0, 3.0)
    flat = draw() < 0.6  # type: ignore[operator]
    car["battery_v"] = between(draw, 11.2, 12.15) if flat else car["battery_v"]
    car["battery_crank_v"] = between(draw, 7.0, 9.4) if flat else between(draw, 9.2, 11.4)
    car["fill"] *= min(1.0, (car["speed_rpm"] / before) ** 0.5)


def leak_relief(car: dict, draw: object, severity: float) -> None:
    car["relief_leak"] += leak_for(car, worst_pressure(draw, severity))


def leak_outside(car: dict, draw: object, severity: float) -> None:
    car["outside"] += leak_for(car, worst_pressure(draw, severity))


def inhibit_control(car: dict, draw: object, severity: float) -> None:
    """No engine position, an immobiliser, or no feed: the control unit asks for nothing and drives nothing."""
    car["regulator_works"] = False
    car["metering"] = between(draw, 0.05, 0.4)
    kind = choose(draw, [("sync", 0.45), ("command", 0.35), ("feed", 0.2)])
    if kind == "sync":
        car["sync"] = "no"
        car["command_bar"] = choose(draw, [(between(draw, 0.0, 60.0), 0.7), (car["command_bar"], 0.3)])
    elif kind == "command":
        car["command_bar"] = between(draw, 0.0, 120.0)
    else:
        car["feed_v"] = between(draw, 0.0, 8.0)
        car["command_bar"] = between(draw, 0.0, 120.0)


FAULTS = {
    "pump_worn": wear_pump,
    "injector_return_high": leak_injectors,
    "regulator_leaking": leak_regulator,
    "regulator_circuit": break_regulator_circuit,
    "metering_valve_sticking": stick_metering,
    "metering_valve_seized": seize_metering,
    "metering_valve_circuit": break_metering_circuit,
    "sensor_offset": shift_sensor,
    "sensor_circuit": break_sensor_circuit,
    "supply_restricted": starve,
    "air_in_supply": let_air_in,
    "fuel_wrong": spoil_fuel,
    "cranking_slow": slow_starter,
    "relief_valve_leaking": leak_relief,
    "external_leak": leak_outside,
    "control_inhibited": inhibit_control,
}


# codes that a control unit stores under a fault, with their chance; judgement. A low rail pressure adds LOW_CODES, and any
# vehicle may carry an old code that has nothing to do with today's complaint.
CODES = {
    "injector_return_high": [("P0093", 0.10), ("P0266", 0.15)],
    "regulator_leaking": [("P0089", 0.15), ("P0093", 0.05)],
    "regulator_circuit": [("P0090", 0.70)],
    "metering_valve_sticking": [("P0002", 0.20)],
    "metering_valve_seized": [("P0002", 0.20)],
    "metering_valve_circuit": [("P0001", 0.70)],
    "sensor_offset": [("P0191", 0.20)],
    "sensor_circuit": [("P0190", 0.70)],
    "supply_restricted": [("P008A", 0.10)],
    "air_in_supply": [("P008A", 0.05)],
    "fuel_wrong": [("P008A", 0.08)],
    "cranking_slow": [("P0562", 0.25)],
    "external_leak": [("P0093", 0.15)],
    "relief_valve_leaking": [("P009F", 0.10)],
    "control_inhibited": [("P0335", 0.30)],
}
LOW_CODES = [("P0087", 0.50), ("P0089", 0.05), ("P0002", 0.05)]
OLD_CODES = ["P0001", "P0002", "P0089", "P0090", "P0093", "P0190", "P0191", "P0266", "P0335", "P0562", "P008A", "P0181"]
OLD_CODE_CHANCE = 0.08


def stored_codes(car: dict, is_low: bool, draw: object) -> list:
    """Return the codes that a vehicle has stored; `is_low` when its rail pressure stays below what was asked."""
    rows = LOW_CODES if is_low else []
    for name in PAIRS.get(car["fault"], (car["fault"],)):
        rows = rows + CODES.get(name, [])
    found = [code for code, chance in rows if draw() < chance]  # type: ignore[operator]
    if draw() < OLD_CODE_CHANCE:  # type: ignore[operator]
        found.append(choose(draw, [(code, 1.0) for code in OLD_CODES]))  # type: ignore[arg-type]
    return sorted(set(found))


def make_car(
    seed: int, layout: str, supply: str, cylinders: int, fault: str, severity: float | None = None, wide: float = 1.0
) -> dict:
    """Return a vehicle with a fault (or a pair of PAIRS, or no_pressure_fault).

    Inputs: seed a whole number; severity 0..1 or None for a draw; wide 1 for the ranges that signatures are derived from,
    more for wider ones. Returns: its parameters.
    """
    draw = make_draw(seed)
    car = sound_car(draw, layout, supply, cylinders, wide)
    drawn = draw()  # type: ignore[operator]
    car["severity"] = drawn if severity is None else severity
    for name in PAIRS.get(fault, (fault,)):
        if name in FAULTS:
            FAULTS[name](car, draw, car["severity"])
    car["fault"] = fault
    return car


def end_pressure(car: dict, metering: float, cap_bar: float) -> float:
    """Return the true pressure at which cranking comes to rest."""
    return min(delivery(car, metering) / total_leak(car), cap_bar)


def cranking_cap(car: dict) -> float:
    """Return where the control holds the true pressure: at the command less the sensor's error, or at the spring."""
    if car["layout"] == "metering-only":
        return max(car["command_bar"] - car["display_offset_bar"], 0.0)  # type: ignore[no-any-return]
    held = car["command_bar"] - car["display_offset_bar"] if car["regulator_works"] else car["spring_bar"]
    return max(held, 0.0)  # type: ignore[no-any-return]


def rise_seconds(car: dict, end_bar: float, target_bar: float) -> float:
    """Return the time to a target from the start of cranking; NOT_REACHED_S where the pressure ends below it."""
    free_end = delivery(car, car["metering"]) / total_leak(car)
    if end_bar < target_bar or free_end <= target_bar:
        return NOT_REACHED_S
    tau_s = car["capacity_ml_bar"] / total_leak(car) * 60.0
    return car["dead_s"] - tau_s * math.log(1.0 - target_bar / free_end)  # type: ignore[no-any-return]


def half_life_seconds(car: dict) -> float:
    """Return the time in which the pressure halves after cranking: injectors and pump leak far less at rest."""
    resting = (sum(car["injectors"]) + car["slip"]) * car["static_share"]
    relief = car["relief_leak"] if car["layout"] == "metering-only" else 0.0
    regulator = 0.0 if car["layout"] == "metering-only" else 0.3 * car["regulator_leak"]
    return car["capacity_ml_bar"] / (resting + relief + regulator + car["outside"]) * 60.0 * math.log(2.0)  # type: ignore[no-any-return]


def true_values(car: dict, target_bar: float) -> dict:
    """Return {quantity: true value} of everything that can be read; what the vehicle has not or cannot show is left out.

    Inputs: target_bar the pressure that a rise is timed to. A sensor error shows in every pressure that the sensor reads.
    """
    offset = car["display_offset_bar"]
    cap = cranking_cap(car)
    crank = end_pressure(car, car["metering"], cap)
    shown = max(crank + offset, 0.0)
    rise = rise_seconds(car, crank + offset, target_bar)
    broken = car["reference_v"] < 4.5 or car["reference_v"] > 5.5 or (abs(car["signal_offset_v"]) > 0.45 and offset == 0.0)
    signal = max(0.5 * car["reference_v"] / 5.0 + car["signal_offset_v"], 0.0)
    values = {
        "battery_voltage_rest": car["battery_v"], "battery_voltage_cranking": car["battery_crank_v"],
        "cranking_speed": car["speed_rpm"], "fuel_present": car["fuel"], "fuel_condition": car["condition"],
        "external_leak": ("leak" if car["outside"] > 0.15 else "seep") if car["outside"] > 0.0 else "none",
        "air_in_supply": car["air"], "sensor_reference_voltage": car["reference_v"], "sensor_signal_voltage": signal,
        "rest_pressure": max(DISPLAY_AT_REST_BAR + (signal - 0.5) * BAR_PER_SENSOR_VOLT, 0.0),
        "actuator_supply_voltage": car["feed_v"], "crank_sync": car["sync"], "commanded_pressure": car["command_bar"],
        "crank_pressure": 0.0 if broken else shown, "decay_time": half_life_seconds(car),
        "injector_return": [g * crank * 0.5 for g in car["injectors"]], "injector_resistance": car["injector_ohm"],
    }  # fmt: skip
    values["supply_pressure" if car["supply"] == "electric" else "supply_suction"] = (
        car["supply_bar"] if car["supply"] == "electric" else car["suction_bar"]
    )
    if rise < NOT_REACHED_S and not broken:
        values["crank_rise_time"] = rise
    values.update(valve_values(car, crank, offset, broken))
    if crank >= RUNS_FROM_BAR and not broken:
        # under way the pump turns many times faster: a leak shows far less at idle than while cranking
        lost = max(car["command_bar"] - crank - offset, 0.0)
        values["idle_pressure_error"] = car["runs_error_bar"] - 0.1 * lost
        values["load_pressure_error"] = 3.0 * car["runs_error_bar"] - 2.2 * lost
    return values


def valve_values(car: dict, crank: float, offset: float, broken: bool) -> dict:
    """Return what the checks of regulator, metering valve and relief valve show on this layout."""
    values = {}
    if car["layout"] != "regulator-only":
        values["metering_valve_resistance"] = car["metering_ohm"]
        values["open_metering_pressure"] = end_pressure(car, car["metering_full"], max(cranking_cap(car), crank)) + offset
    if car["layout"] == "metering-only":
        values["relief_return_flow"] = car["relief_leak"] * crank
        values["open_metering_pressure"] = end_pressure(car, car["metering_full"], car["drive_cap_bar"]) + offset
    else:
        held = end_pressure(car, car["metering"], car["drive_cap_bar"])
        values["regulator_resistance"] = car["regulator_ohm"]
        values["spring_pressure"] = end_pressure(car, car["metering"], car["spring_bar"]) + offset
        values["held_pressure"] = held + offset
        values["regulator_return_flow"] = car["regulator_leak"] * held
    pressures = ("open_metering_pressure", "spring_pressure", "held_pressure")
    return {name: 0.0 if broken and name in pressures else max(values[name], 0.0) for name in values}
