"""Practice: a virtual vehicle with a hidden fault that answers every check, and what its diagnosis was worth afterwards.

Rules for this file: the car's number and grade are the whole state, so a class can share a car; nothing tells the fault
before the debrief; readings carry the error of the usual instrument, the same when the same go is asked again.
Method: the car is vehicle.py's, the best path is what judge_case asks for on the same car until it concludes.
Source: grades, their severities and the price of a pump taken off in vain are judgement.
"""

import math

from .book import Book, fits_vehicle
from .judge import judge_case
from .numeric import is_number
from .planning import check_minutes
from .problems import refuse, show
from .vehicle import (
    PAIRS,
    RUNS_FROM_BAR,
    between,
    choose,
    cranking_cap,
    delivery,
    end_pressure,
    make_car,
    make_draw,
    stored_codes,
    total_leak,
    true_values,
)

GRADES = ("plain", "usual", "faint", "double")
SEVERITIES = ((0.6, 1.0), (0.0, 1.0), (0.02, 0.3), (0.0, 1.0))  # of vehicle.py, a pair a grade
RISE = "crank_rise_time"
HEALTHY, OTHER = "no_pressure_fault", "none_of_these"
NOT_HERE = (OTHER, "metering_valve_seized")  # the second reads as a worn pump to every check: nothing to learn from
CARS = 50  # a grade
# cars left out: what they can show does not settle them (found by tests/engine/test_practice.py)
UNSOLVED = ((12,), (20, 25), (54,), (2, 7, 13, 17, 26, 28, 51, 56))
MOST_CHECKS = 40
COLLECTED_S = 30.0
PUMP_MINUTES = 240.0  # judgement: a high-pressure pump off and on again
CURVE_STEP_S = 0.05
CURVE_END_S = 5.0  # as long as a starter may turn in one go
RIPPLE_SHARE = 0.012  # judgement


def gauss(draw: object) -> float:
    """Return a draw from the standard normal (Box and Muller)."""
    return math.sqrt(-2.0 * math.log(1.0 - draw())) * math.cos(2.0 * math.pi * draw())  # type: ignore[operator]


def usual_uncertainty(quantity: dict, value: float) -> float:
    """Return the standard uncertainty of a number read with the quantity's usual instrument, rectangular."""
    default = quantity["default_uncertainty"]
    return (default["absolute"] + default["relative"] * abs(value)) / math.sqrt(3.0)  # type: ignore[no-any-return]


def shown_value(quantity: dict, value: float) -> float:
    """Return a number as an instrument shows it: with the quantity's decimals, within what can be."""
    low, high = quantity["possible"]["low"], quantity["possible"]["high"]
    return min(max(round(value, quantity["decimals"]), low), high)  # type: ignore[no-any-return]


def read_request(request: dict) -> tuple:
    """Return (seed, grade) of a car. Refuses: impossible_value, unknown_choice."""
    number, grade = request.get("car"), request.get("grade")
    if not is_number(number) or number not in range(1, CARS + 1):
        raise refuse("impossible_value", "car", f"{show(number)} is not the number of a car; give 1 to {CARS}")
    if grade not in GRADES:
        raise refuse("unknown_choice", "grade", f"{show(grade)} is not one of {', '.join(GRADES)}")
    left_out = UNSOLVED[GRADES.index(grade)]
    solved = [seed for seed in range(1, CARS + len(left_out) + 1) if seed not in left_out]
    return solved[int(number) - 1], grade  # type: ignore[arg-type]


def fitting_faults(vehicle: dict, grade: str, book: Book) -> list:
    """Return [(fault id, weight)] of what a car of this grade may have."""
    if grade == "double":
        return [(name, 1.0) for name in sorted(PAIRS)]
    singles = [f for f in book.faults if fits_vehicle(f, vehicle) and f["id"] not in PAIRS and f["id"] not in NOT_HERE]
    if grade == "plain":
        singles = [f for f in singles if f["id"] != HEALTHY]
    return [(f["id"], 1.0) for f in singles]


def hidden_car(seed: int, grade: str, book: Book) -> dict:
    """Return the car of a seed and grade, its fault included."""
    draw = make_draw(seed * len(GRADES) + GRADES.index(grade))
    layout = choose(draw, [(name, 1.0) for name in book.layouts])
    supply = choose(draw, [(name, 1.0) for name in book.supplies])
    cylinders = choose(draw, [(4, 0.6), (3, 0.1), (5, 0.1), (6, 0.2)])
    fault = choose(draw, fitting_faults({"layout": layout, "supply": supply}, grade, book))
    low, high = SEVERITIES[GRADES.index(grade)]
    severity = between(draw, low, high)
    return make_car(seed + 1, layout, supply, cylinders, fault, severity)  # type: ignore[arg-type]


def open_car(seed: int, grade: str, book: Book) -> tuple:
    """Return (car, its true values, the case document that its driver and its memory of codes give)."""
    car = hidden_car(seed, grade, book)
    target = book.limits["generic"]["crank_pressure"]["low"]
    truth = true_values(car, target)
    stands = truth["crank_pressure"] < RUNS_FROM_BAR or car["sync"] == "no" or car["fuel"] == "no"
    case = {
        "format": "railcase-case/1", "id": f"practice-{grade}-{seed}",
        "vehicle": {"layout": car["layout"], "supply": car["supply"], "cylinders": car["cylinders"]},
        "complaints": ["no_start" if stands else "hard_start"],
        "codes": stored_codes(car, truth["crank_pressure"] < target, make_draw(seed + 2)),
        "readings": [], "not_measured": [],
    }  # fmt: skip
    return car, truth, case


def take_reading(name: str, go: int, seed: int, truth: dict, book: Book) -> dict:
    """Return one reading of CASE.md, or {quantity, reason} for what this car cannot show."""
    quantity, value = book.quantities[name], truth.get(name)
    if value is None:
        return {"quantity": name, "reason": "never reached" if name == RISE else "cannot be had on this car"}
    reading: dict = {"id": f"{name}-{go}", "quantity": name, "value": value}
    draw = make_draw((seed * 1009 + book.quantity_order.index(name)) * 1009 + go)
    if quantity["kind"] != "choice":
        values = value if quantity["kind"] == "list" else [value]
        shown = [shown_value(quantity, v + usual_uncertainty(quantity, v) * gauss(draw)) for v in values]
        reading["value"] = shown if quantity["kind"] == "list" else shown[0]
    if quantity["needs_duration"]:
        reading["duration_s"] = COLLECTED_S
    return reading


def add_readings(case: dict, names: list, seed: int, truth: dict, book: Book, timed_s: float | None = None) -> None:
    """Take quantities on the car and put them into the case document; a rise that the learner timed himself is his."""
    for name in names:
        go = len([r for r in case["readings"] if r["quantity"] == name])
        row = take_reading(name, go, seed, truth, book)
        if name == RISE and timed_s is not None and "reason" not in row:
            row["value"], row["instrument"] = timed_s, "tap_timer"
        if "reason" in row:
            case["not_measured"].append(row)
        else:
            case["readings"].append(row)
            case["not_measured"] = [r for r in case["not_measured"] if r["quantity"] != name]


def read_path(request: dict, car: dict, book: Book) -> list:
    """Return the learner's path [(check, quantities, seconds timed by hand or None)].

    Refuses: not_a_list, unknown_check, unknown_quantity, impossible_value.
    """
    path = request.get("path")
    if not isinstance(path, list) or len(path) > MOST_CHECKS * 5:
        raise refuse("not_a_list", "path", f"{show(path)} is not a list of checks")
    steps = []
    for i in range(len(path)):
        row = path[i] if isinstance(path[i], dict) else {}
        check = book.checks.get(row.get("check"))
        if check is None or not fits_vehicle(check, car):
            raise refuse("unknown_check", f"path[{i}].check", f"{show(row.get('check'))} is not a check of this car")
        names = row.get("quantities")
        can = [q for q in check["quantities"] if fits_vehicle(book.quantities[q], car)]
        if not isinstance(names, list) or [n for n in names if n not in can]:
            text = f"{show(names)} is not read in {check['id']} on this car"
            raise refuse("unknown_quantity", f"path[{i}].quantities", text)
        timed_s = row.get("timed_s")
        if timed_s is not None and not (is_number(timed_s) and 0.0 < timed_s <= CURVE_END_S):
            raise refuse("impossible_value", f"path[{i}].timed_s", f"{show(timed_s)} s cannot be; crank for 5 s at most")
        steps.append((check["id"], names, timed_s))
    return steps


def walk(steps: list, seed: int, truth: dict, case: dict, book: Book) -> dict:
    """Return {case, minutes, intrusion, steps} of a path walked on the car."""
    minutes = intrusion = 0.0
    for check, names, timed_s in steps:
        add_readings(case, names, seed, truth, book, timed_s)
        minutes += check_minutes(book.checks[check], names, case["vehicle"], book)
        intrusion += book.checks[check]["intrusion"]
    return {"case": case, "minutes": minutes, "intrusion": intrusion, "steps": len(steps)}


def look_at(request: dict, book: Book) -> dict:
    """Answer the door: {"car", "grade", "path" [{check, quantities, timed_s?}]} -> {case, minutes, intrusion, steps}.

    The case is the document with the readings so far; the same path gives the same readings.
    """
    seed, grade = read_request(request)
    car, truth, case = open_car(seed, grade, book)
    return walk(read_path(request, car, book), seed, truth, case, book)


def best_path(seed: int, grade: str, book: Book) -> tuple:
    """Return (steps [(check, quantities)], last assessment) of doing what is asked next until it concludes."""
    _, truth, case = open_car(seed, grade, book)
    steps: list = []
    while True:
        found = judge_case(case, book)
        if found["conclusion"] is not None or not found["next"] or len(steps) == MOST_CHECKS:
            return steps, found
        row = found["next"][0]
        steps.append((row["check"], row["quantities"], None))
        add_readings(case, row["quantities"], seed, truth, book)


def could_tell(seed: int, truth: dict, case: dict, book: Book) -> list:
    """Return [{check, name, text}] of the checks that show something out of order on this car."""
    names = [n for n in book.quantity_order if n in truth and fits_vehicle(book.quantities[n], case["vehicle"])]
    add_readings(case, names, seed, truth, book)
    failed = [row["quantity"] for row in judge_case(case, book)["verdicts"] if row["verdict"] == "fail"]
    rows = []
    for check in book.check_order:
        shown = [book.quantities[q]["name"].lower() for q in book.checks[check]["quantities"] if q in failed]
        if shown and check != "retest" and fits_vehicle(book.checks[check], case["vehicle"]):
            text = ", ".join(shown) + " outside limits"
            rows.append({"check": check, "name": book.checks[check]["name"], "text": text})
    return rows


def is_right(named: str, fault: str, book: Book) -> bool:
    """True when the same component is named; of two faults either."""
    faults = {f["id"]: f for f in book.faults}
    parts = [faults[name]["component"] for name in PAIRS.get(fault, (fault,))]
    return named == fault or (named not in (HEALTHY, OTHER) and faults[named]["component"] in parts)


def debrief(request: dict, book: Book) -> dict:
    """Answer the door: {"car", "grade", "path", "named" (fault id)} -> what the car had and what the path was worth.

    Returns: {fault, names [of the faults], right, minutes, intrusion, pump_minutes (0 unless the pump was named in vain),
    best {minutes, intrusion, steps [{check, name, minutes}], concluded}, could_tell [{check, name, text}]}.
    Refuses: what look_at refuses, unknown_choice for named.
    """
    seed, grade = read_request(request)
    car, truth, case = open_car(seed, grade, book)
    names = {f["id"]: f["name"] for f in book.faults}
    named: str = request.get("named")  # type: ignore[assignment]
    if named not in names:
        raise refuse("unknown_choice", "named", f"{show(named)} is not a fault")
    own = walk(read_path(request, car, book), seed, truth, case, book)
    steps, found = best_path(seed, grade, book)
    best = walk(steps, seed, truth, open_car(seed, grade, book)[2], book)
    in_vain = named == "pump_worn" and "pump_worn" not in PAIRS.get(car["fault"], (car["fault"],))
    rows = [
        {
            "check": check, "name": book.checks[check]["name"],
            "minutes": check_minutes(book.checks[check], asked, case["vehicle"], book),
        }
        for check, asked, _ in steps
    ]  # fmt: skip
    return {
        "fault": car["fault"], "names": [names[name] for name in PAIRS.get(car["fault"], (car["fault"],))],
        "right": is_right(named, car["fault"], book), "minutes": own["minutes"], "intrusion": own["intrusion"],
        "pump_minutes": PUMP_MINUTES if in_vain else 0.0,
        "best": {
            "minutes": best["minutes"], "intrusion": best["intrusion"], "steps": rows,
            "concluded": (found["conclusion"] or {}).get("fault"),
        },
        "could_tell": could_tell(seed, truth, open_car(seed, grade, book)[2], book),
    }  # fmt: skip


def crank_curve(request: dict, book: Book) -> dict:
    """Answer the door: {"car", "grade"} -> {points [[s, bar as shown]]} of five seconds of cranking."""
    seed, grade = read_request(request)
    car, truth, _ = open_car(seed, grade, book)
    end = end_pressure(car, car["metering"], cranking_cap(car))
    free = delivery(car, car["metering"]) / total_leak(car)
    tau_s = car["capacity_ml_bar"] / total_leak(car) * 60.0
    beat_hz = car["speed_rpm"] * car["cylinders"] / 120.0
    points = []
    for i in range(int(CURVE_END_S / CURVE_STEP_S) + 1):
        t = i * CURVE_STEP_S
        risen = free * (1.0 - math.exp(-max(t - car["dead_s"], 0.0) / tau_s))
        ripple = 1.0 + RIPPLE_SHARE * math.sin(2.0 * math.pi * beat_hz * t)
        bar = min(risen, end) * ripple + car["display_offset_bar"] if truth["crank_pressure"] > 0.0 else 0.0
        points.append([t, round(max(bar, 0.0), 1)])
    return {"points": points}
