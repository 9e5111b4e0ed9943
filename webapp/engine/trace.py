"""A recorded trace in, what it shows of a rise out: the request checked and the answer put together.

Rules for this file: the reduced form that the readers hand over; bar, s, V, A. No CSV here: a reader on the server and one
on the phone reduce a file of any length to points, and may be asked to look closer at a part of it.
"""

from .cranking import read_cranking
from .electrics import check_sensor, transfer_line
from .numeric import is_number
from .problems import EngineError, Problem, show
from .transition import (
    COARSE_SHARE,
    COARSE_STEPS,
    FEWEST_IN_RISE,
    GAP_SHARE,
    LEAST_SPAN_BAR,
    Record,
    Shape,
    plateau_drift,
    prepare,
    reach_level,
    read_shape,
    steepest,
)
from .uncertainty import combine_uncertainty, instrument_terms, resolution
from .waveform import GAP_STEPS, last_point, usual_step

FORMAT = "railcase-trace/1"
FEWEST_POINTS, MOST_POINTS, MOST_TARGETS = 8, 40000, 10
LOWEST_BAR, HIGHEST_BAR = -5.0, 4000.0
BIGGEST = 1e12  # of anything: squares of more would leave the range of a float
HAND_U_S = 0.01  # judgement: a start pointed at on the screen
FINE_SHARE = 1.0 / 200.0  # of the rise: spacing wanted around it
SURE = 3.0  # standard uncertainties within which a time is all but sure to lie
MARGIN_S, AFTER_S, WORTH_A_LOOK = 0.5, 1.5, 0.7
PULLS = (("battery_v", "battery_voltage"), ("current_a", "starter_current"))


def check_list(request: dict, name: str, length: int, holes: bool = False) -> list:
    """Return problems of one list of numbers, None allowed where it may have holes."""
    values = request[name]
    if not isinstance(values, list) or len(values) != length:
        many = len(values) if isinstance(values, list) else show(values)
        return [Problem("wrong_length", name, f"{many} values; one for each of the {length} times is wanted")]
    for i in range(length):
        if not is_number(values[i]) and not (holes and values[i] is None):
            return [Problem("not_a_number", f"{name}[{i}]", f"{show(values[i])} is not a number")]
        if values[i] is not None and abs(values[i]) > BIGGEST:
            return [Problem("impossible_value", f"{name}[{i}]", f"{show(values[i])} cannot be; leave that row out")]
    return []


def check_times(t: object) -> list:
    if not isinstance(t, list) or len(t) < FEWEST_POINTS:
        return [Problem("too_few", "t", f"a trace needs at least {FEWEST_POINTS} readable rows")]
    if len(t) > MOST_POINTS:
        return [Problem("too_many", "t", f"{len(t)} points; reduce to {MOST_POINTS} or fewer")]
    problems = check_list({"t": t}, "t", len(t))
    for i in range(1, len(t) if not problems else 0):
        if t[i] < t[i - 1]:
            return [Problem("not_rising", f"t[{i}]", f"{t[i]:g} s comes after {t[i - 1]:g} s; times must not fall")]
    if not problems and t[-1] <= t[0]:
        return [Problem("not_rising", "t", "all times are the same; choose the column of time")]
    return problems


def check_targets(targets: object) -> list:
    if not isinstance(targets, list) or len(targets) > MOST_TARGETS:
        return [Problem("missing", "targets", f"give a list of at most {MOST_TARGETS} pressures [bar] to time to")]
    return [
        Problem("impossible_value", f"targets[{i}]", f"{show(targets[i])} bar cannot be timed; give 0 to {HIGHEST_BAR:g}")
        for i in range(len(targets))
        if not (is_number(targets[i]) and 0.0 < targets[i] <= HIGHEST_BAR)
    ]


def check_trace(request: dict) -> None:
    """Refuse a request that cannot be a trace, with everything that is wrong."""
    t = request.get("t")
    problems = check_times(t) + check_targets(request.get("targets"))
    name = "volts" if request.get("volts") is not None else "p"
    if request.get(name) is None:
        problems.append(Problem("missing", "p", "give the pressure in bar, or volts with the sensor's two points"))
    elif isinstance(t, list):
        problems += check_list(request, name, len(t))
    for pull, _ in PULLS:
        if request.get(pull) is not None and isinstance(t, list):
            problems += check_list(request, pull, len(t), True)
    start, cylinders = request.get("start_s"), request.get("cylinders")
    if start is not None and not is_number(start):
        problems.append(Problem("not_a_number", "start_s", f"{show(start)} is not a moment in seconds"))
    if cylinders is not None and not (type(cylinders) is int and 1 <= cylinders <= 16):
        problems.append(Problem("impossible_value", "cylinders", f"{show(cylinders)}: give 1 to 16"))
    if problems:
        raise EngineError(problems)


def pressures_of(request: dict) -> list:
    """Return the pressures [bar]. Refuses what check_sensor refuses."""
    if request.get("volts") is None:
        return [float(v) for v in request["p"]]
    at_zero, slope = transfer_line(check_sensor(request.get("sensor")))
    return [at_zero + slope * v for v in request["volts"]]


def read_pulls(request: dict) -> tuple:
    """Return (cranking or None, kind, t cut before a second crank, warnings)."""
    t, warnings = request["t"], []
    for name, kind in PULLS:
        if request.get(name) is None:
            continue
        pairs = [(x, v) for x, v in zip(t, request[name]) if v is not None]
        xs, vs = [x for x, _ in pairs], [v for _, v in pairs]
        found = read_cranking(xs, vs, kind, request.get("cylinders"))
        if found is None:
            warnings.append(f"No start of cranking is seen in the {kind.replace('_', ' ')}.")
            continue
        later = last_point(xs, found["end_s"] + 0.3) + 1
        again = read_cranking(xs[later:], vs[later:], kind, None) if found["end_s"] < xs[-1] else None
        if again is not None and again["start_s"] > found["end_s"]:
            warnings.append(f"The starter is used again at {again['start_s']:.2f} s; only the first time is judged.")
            return found, kind, last_point(t, again["start_s"]), warnings
        return found, kind, len(t) - 1, warnings
    return None, "pressure", len(t) - 1, warnings


def choose_start(request: dict, cranking: dict | None, kind: str, onset: float | None, step: float) -> tuple:
    """Return (start or None, its standard uncertainty, where it is from, warnings)."""
    if request.get("start_s") is not None:
        return float(request["start_s"]), max(HAND_U_S, resolution(step)), "hand", []
    if cranking is not None:
        warnings = []
        if onset is not None and onset < cranking["start_s"] - max(0.05, 3.0 * step):
            warnings.append(
                "The pressure rises before the start of cranking: check the start, and the clocks of the channels."
            )
        return cranking["start_s"], cranking["start_u_s"], kind, warnings
    text = "Counted from the onset of pressure: the dead time between the start of cranking and the rise is not included."
    if onset is None:
        return None, None, "pressure", [text, "No onset is seen: the record begins after the start of the rise."]
    return onset, max(resolution(step), 0.5 * step), "pressure", [text]


def describe_miss(shape: Shape, peak: float, target: float, at_start: float) -> str:
    """Return why there is no time to a target."""
    if at_start >= target:
        return f"The pressure is already above {target:g} bar at the start: no time can be told."
    if peak < target:
        return f"{target:g} bar was not reached; the highest pressure is {peak:.4g} bar."
    return f"{target:g} bar was touched by crests or spikes only; the pressure does not stay there."


def describe_doubt(record: Record, target: float, at: float, seconds: float, u: float, gap: float, step: float) -> list:
    """Return warnings about a time that is worth less than it looks; step [s] that of the samples."""
    warnings = []
    if gap > GAP_STEPS * record.step and gap > GAP_SHARE * seconds:
        warnings.append(f"The record has a gap of {gap:.3g} s where it passes {target:g} bar.")
    inside = last_point(record.t, at) - last_point(record.t, at - seconds)
    if inside < FEWEST_IN_RISE:
        warnings.append(f"Only {inside} samples up to {target:g} bar: too few to rely on.")
    if SURE * u > max(COARSE_SHARE * seconds, COARSE_STEPS * step):
        warnings.append(f"Noise and spacing leave the time to {target:g} bar open by {2.0 * u:.2g} s either way.")
    if last_point(record.t, at + 0.3) >= len(record.t) - 1 and record.t[-1] < at + 0.3:
        warnings.append(f"The record ends right after {target:g} bar was reached: whether it stays is not seen.")
    later = [i for i in range(last_point(record.ts, at), len(record.ts)) if record.ps[i] < target]
    return warnings + ([] if not later else fallen(record, target, at, later))


def fallen(record: Record, target: float, at: float, later: list) -> list:
    """Return a warning when the pressure falls below a target and comes back above it later."""
    slack = 3.0 * record.left + record.quantum
    deep = [i for i in later if record.ps[i] < target - slack and record.ts[i] > at]
    if deep and max(record.ps[deep[0] :]) > target + slack:
        return [f"The pressure falls below {target:g} bar again at {record.ts[deep[0]]:.3g} s."]
    return []


def time_targets(request: dict, record: Record, shape: Shape, start: tuple, peak: float) -> tuple:
    """Return (rows of time_to, warnings)."""
    begin, start_u = start[0], start[1]
    step = request.get("sample_interval_s") or record.step
    rows, warnings = [], []
    for target in request["targets"]:
        row = {"target_bar": target, "seconds": None, "standard_uncertainty": None}
        rows.append(row)
        if begin is None:
            continue
        at_start = record.ps[last_point(record.ts, begin)]
        found = (None, None, 0.0, []) if at_start >= target else reach_level(record, shape, target, begin)
        at, u, gap, said = found
        if at is None or at <= begin:
            warnings.append(describe_miss(shape, peak, target, at_start))
            continue
        row["seconds"], row["standard_uncertainty"] = at - begin, combine_uncertainty([u, start_u])
        if start[2] != "hand":  # whoever points at a start knows how well
            u = row["standard_uncertainty"]
        warnings += said + describe_doubt(record, target, at, at - begin, u, gap, step)
    return rows, warnings


def find_window(request: dict, record: Record, shape: Shape, start: float | None, rows: list) -> list | None:
    """Return [from_s, to_s] of the part that should be reduced less, None when it is fine enough or nothing is there.

    First the whole rise with what settles after it; then, for a short time to a target, what lies before that target.
    """
    t, samples = request["t"], request.get("samples") or 0
    if samples <= len(t) or shape.t10 is None or shape.t90 is None or shape.high - shape.low < LEAST_SPAN_BAR:
        return None
    fine, rise = (request.get("sample_interval_s") or 0.0) * 1.5, shape.t90 - shape.t10
    begin = min([x for x in (start, shape.onset, shape.t10) if x is not None])
    spacing = widest_step(t, shape.t10, shape.t90)
    if spacing > max(fine, FINE_SHARE * rise):
        margin = 2.0 * spacing
        return narrow(t, begin - MARGIN_S - margin, shape.t90 + max(AFTER_S, 0.5 * rise) + margin)
    times = [row["seconds"] for row in rows if row["seconds"] is not None]
    if not times or start is None or widest_step(t, start, start + min(times)) <= max(fine, FINE_SHARE * min(times)):
        return None
    return narrow(t, begin - 0.5 * min(times) - spacing, start + 1.5 * min(times) + spacing)


def widest_step(t: list, begin: float, end: float) -> float:
    first, last = last_point(t, begin), min(last_point(t, end) + 1, len(t) - 1)
    return max([t[i + 1] - t[i] for i in range(max(first - 1, 0), last)])


def narrow(t: list, begin: float, end: float) -> list | None:
    """Return [begin, end] within the record when it holds few enough of the points to be worth a closer look."""
    begin, end = max(t[0], begin), min(t[-1], end)
    return [begin, end] if last_point(t, end) - last_point(t, begin) < WORTH_A_LOOK * len(t) else None


def judge_levels(record: Record, shape: Shape, accuracy: dict) -> tuple:
    """Return (crank_pressure or None, warnings) of the levels."""
    warnings = []
    least, most = min(record.ps), max(record.ps)
    if least < LOWEST_BAR or most > HIGHEST_BAR:
        text = f"Pressures from {least:.4g} to {most:.4g} bar cannot be right: check the unit, or the sensor's points."
        warnings.append(text)
    span = shape.high - shape.low
    if span < LEAST_SPAN_BAR:
        return None, warnings + ["No rise is seen in this record."]
    if not shape.plateau:
        text = "The pressure does not settle: no steady level, and the 10 to 90 % time is not to be told."
        return None, warnings + [text]
    drift = plateau_drift(shape)
    if abs(drift) > 0.02 * span:
        way = "still rising" if drift > 0.0 else "already falling"
        warnings.append(f"The steady level is {way}: it changes by {abs(drift):.3g} bar while it is taken.")
    high = shape.high
    u = combine_uncertainty(instrument_terms(high, accuracy) + [resolution(drift), 0.2 * record.left])
    return {"value": high, "standard_uncertainty": u}, warnings


def read_trace(request: dict, accuracy: dict) -> dict:
    """Return what a recorded trace shows of a rise (shape: "Trace result" of the case contract).

    Inputs: accuracy the row of the instrument; request with one key each:
      "t" [s] times of the points, not falling; all lists have its length; 8 to 40,000 points. Either every sample or
        buckets of neighbouring samples, wide where nothing happens: then t and the others are means of the bucket.
      "p" [bar], or "volts" [V] with "sensor" [[V, bar], [V, bar]], the linear transfer of the sensor. Buckets: the mean of
        values clipped to the lowest and highest that two samples in a row reached, so that no single-sample spike counts.
      "battery_v" [V] or "current_a" [A] of battery and starter, None where there is none; optional.
      "samples" rows read, "dropped" rows that could not be, "sample_interval_s" median step of the first 2,000 good
        rows, "gaps" steps longer than five of these.
      "targets" [bar] pressures to time to; "cylinders" (None: speed unknown); "start_s" correction by hand (optional).
    Returns: {"format", "samples", "dropped", "gaps", "sample_interval_s", "start_s", "start_from" "battery_voltage" |
      "starter_current" | "pressure" | "hand", "start_standard_uncertainty", "rest_bar", "steady_bar", "peak_bar", "time_to"
      [{"target_bar", "seconds", "standard_uncertainty"}] (seconds None: not reached or not to be told, a warning says why),
      "rise_10_90_s", "slope_max_bar_per_s", "ripple_bar" (half of crest to trough), "ripple_hz", each None where it cannot
      be told; "crank_pressure" {"value", "standard_uncertainty"} or None; "cranking" {"speed_rpm", "standard_uncertainty",
      "compressions", "relative" [share of the mean, in firing order from an unknown first] or None} or None;
      "look_closer" [from_s, to_s] or None: where the points lie too far apart, reduce that part of the file anew, join it
      with the points outside, ask again (at most twice); "chart" {"onset_s", "t10_s", "t90_s", "low_bar", "high_bar",
      "from_s", "to_s"}; "warnings" [text]}.
    Refuses: missing, too_few, too_many, not_a_number, impossible_value, not_rising, wrong_length, not_a_pair.
    """
    check_trace(request)
    cranking, kind, last, warnings = read_pulls(request)
    t, p = request["t"][: last + 1], pressures_of(request)[: last + 1]
    record = prepare(t, p)
    shape = read_shape(record)
    steady, found = judge_levels(record, shape, accuracy)
    rises = shape.high - shape.low >= LEAST_SPAN_BAR
    start = choose_start(request, cranking, kind, shape.onset if rises else None, record.step)
    peak = max(record.ps)
    rows, doubts = time_targets(request, record, shape, start, peak)
    known = steady is not None and shape.t10 is not None and shape.t90 is not None
    speed = cranking["speed"] if cranking is not None else None
    return {
        "format": FORMAT, "samples": request.get("samples") or len(t), "dropped": request.get("dropped") or 0,
        "gaps": request.get("gaps") or 0,
        "sample_interval_s": round(request.get("sample_interval_s") or usual_step(t), 9),
        "start_s": start[0], "start_from": start[2], "start_standard_uncertainty": start[1],
        "rest_bar": shape.low, "steady_bar": shape.high if steady is not None else None, "peak_bar": peak, "time_to": rows,
        "rise_10_90_s": shape.t90 - shape.t10 if known else None,
        "slope_max_bar_per_s": steepest(record, shape) if rises else None,
        "ripple_bar": shape.ripple[0] if shape.ripple is not None else None,
        "ripple_hz": shape.ripple[1] if shape.ripple is not None else None,
        "crank_pressure": steady, "cranking": speed, "look_closer": find_window(request, record, shape, start[0], rows),
        "chart": {
            "onset_s": shape.onset, "t10_s": shape.t10, "t90_s": shape.t90, "low_bar": shape.low, "high_bar": shape.high,
            "from_s": t[0], "to_s": t[-1],
        },
        "warnings": warnings + found + start[3] + doubts,
    }  # fmt: skip
