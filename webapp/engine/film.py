"""A pressure rise read from a film: a few pressures typed at known frames, the start of cranking, and what it is worth.

Rules for this file: bar and seconds of the film's own clock; the film decides when a frame was taken, never a frame rate.
Method: a curve through the typed pressures that never overshoots them; the first crossing of each target that stays; the
time from the start with what the frames, the display and the way between two marks leave open.
Sources: F. N. Fritsch and R. E. Carlson, Monotone piecewise cubic interpolation, SIAM J. Numer. Anal. 17(2):238 (1980);
slopes by the weighted harmonic mean of Fritsch and Butland, SIAM J. Sci. Stat. Comput. 5(2):300 (1984) - clauses from
memory, values checked against scipy's PchipInterpolator; GUM (JCGM 100:2008) 4.3.7 for the rectangles.
"""

from .numeric import is_number
from .problems import EngineError, Problem, show
from .uncertainty import combine_uncertainty, rectangular, resolution

FORMAT = "railcase-film/1"
FEWEST_MARKS, MOST_MARKS, MOST_TARGETS = 2, 200, 10
LONGEST_FILM_S = 3600.0
LOWEST_BAR, HIGHEST_BAR = -1.0, 3500.0
COARSEST_FRAME_S, SLOWEST_DISPLAY_S, COARSEST_STEP_BAR = 2.0, 5.0, 500.0
SOUND_OFFSET_S = 0.03  # judgement: sound and picture of a phone's film may lie this far apart, either way
COARSE_SHARE = 0.15  # judgement: what part of the rise one frame, or the way between two marks, may take unremarked
CURVE_POINTS = 240
BISECTIONS = 60


def end_slope(h0: float, h1: float, d0: float, d1: float) -> float:
    """Return the slope at an end: three-point formula, kept on the side of the data and within 3 times the chord."""
    slope = ((2.0 * h0 + h1) * d0 - h0 * d1) / (h0 + h1)
    if slope * d0 <= 0.0:
        return 0.0
    if d0 * d1 < 0.0 and abs(slope) > 3.0 * abs(d0):
        return 3.0 * d0
    return slope


def monotone_slopes(xs: list, ys: list) -> list:
    """Return the slope at each point of the monotone cubic; xs strictly increasing, at least two points.

    Source: Fritsch and Carlson 1980, Fritsch and Butland 1984. Example: (0, 0), (1, 1), (2, 4) gives 0, 1.5, 4.
    """
    steps = [xs[i + 1] - xs[i] for i in range(len(xs) - 1)]
    chords = [(ys[i + 1] - ys[i]) / steps[i] for i in range(len(steps))]
    if len(xs) == 2:
        return [chords[0], chords[0]]
    slopes = [end_slope(steps[0], steps[1], chords[0], chords[1])]
    for i in range(1, len(steps)):
        before, after = chords[i - 1], chords[i]
        if before * after <= 0.0:
            slopes.append(0.0)
            continue
        w1, w2 = 2.0 * steps[i] + steps[i - 1], steps[i] + 2.0 * steps[i - 1]
        slopes.append((w1 + w2) / (w1 / before + w2 / after))
    slopes.append(end_slope(steps[-1], steps[-2], chords[-1], chords[-2]))
    return slopes


def piece_value(xs: list, ys: list, slopes: list, i: int, x: float) -> float:
    """Return the cubic of piece i (from point i to i + 1) at x (Hermite's form)."""
    h = xs[i + 1] - xs[i]
    s = (x - xs[i]) / h
    rest = 1.0 - s
    from_ends = ys[i] * (1.0 + 2.0 * s) * rest * rest + ys[i + 1] * s * s * (3.0 - 2.0 * s)
    return from_ends + h * s * rest * (slopes[i] * rest - slopes[i + 1] * s)


def monotone_value(xs: list, ys: list, x: float) -> float:
    """Return the monotone cubic through the points at x, xs[0] <= x <= xs[-1]."""
    last = len(xs) - 2
    i = 0
    while i < last and x > xs[i + 1]:
        i += 1
    return piece_value(xs, ys, monotone_slopes(xs, ys), i, x)


def crossing_piece(ys: list, level: float) -> int | None:
    """Return the first piece that rises through level and whose next mark has not fallen back; None when none does."""
    for i in range(len(ys) - 1):
        if ys[i] < level <= ys[i + 1] and (i + 2 >= len(ys) or ys[i + 2] >= level):
            return i
    return None


def crossing_time(xs: list, ys: list, slopes: list, i: int, level: float) -> float:
    """Return when piece i passes level; the ends of the piece where the level lies outside it."""
    if level <= ys[i]:
        return xs[i]
    if level >= ys[i + 1]:
        return xs[i + 1]
    low, high = xs[i], xs[i + 1]
    for _ in range(BISECTIONS):
        middle = 0.5 * (low + high)
        if piece_value(xs, ys, slopes, i, middle) < level:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


def check_range(value: object, low: float, high: float, field: str, unit: str) -> list:
    if not is_number(value):
        return [Problem("not_a_number", field, f"{show(value)} is not a number; give it in {unit}")]
    if not low <= value <= high:  # type: ignore[operator]
        return [Problem("impossible_value", field, f"{show(value)} {unit} cannot be; it lies between {low:g} and {high:g}")]
    return []


def check_marks(marks: object) -> list:
    """Return problems of the typed pressures: [[s, bar], ...] at different frames."""
    if not isinstance(marks, list) or len(marks) < FEWEST_MARKS:
        return [Problem("too_few", "marks", f"type the pressure on at least {FEWEST_MARKS} frames")]
    if len(marks) > MOST_MARKS:
        return [Problem("too_many", "marks", f"{len(marks)} marks; at most {MOST_MARKS} are taken")]
    problems, times = [], []
    for i in range(len(marks)):
        if not isinstance(marks[i], list) or len(marks[i]) != 2:
            problems.append(Problem("not_a_pair", f"marks[{i}]", f"{show(marks[i])}: give [seconds, bar]"))
            continue
        second, bar = marks[i]
        problems += check_range(second, 0.0, LONGEST_FILM_S, f"marks[{i}][0]", "s")
        problems += check_range(bar, LOWEST_BAR, HIGHEST_BAR, f"marks[{i}][1]", "bar")
        if second in times:
            text = f"the frame at {show(second)} s has two pressures; remove one"
            problems.append(Problem("duplicate", f"marks[{i}]", text))
        times.append(second)
    return problems


def check_film(request: dict) -> list:
    """Return problems of what was read from a film."""
    problems = check_marks(request.get("marks"))
    problems += check_range(request.get("start_s"), 0.0, LONGEST_FILM_S, "start_s", "s")
    frame = check_range(request.get("frame_s"), 0.0, COARSEST_FRAME_S, "frame_s", "s")
    problems += frame or ([] if request["frame_s"] else [Problem("impossible_value", "frame_s", "0 s cannot be")])
    problems += check_range(request.get("reading_resolution_bar"), 0.0, COARSEST_STEP_BAR, "reading_resolution_bar", "bar")
    problems += check_range(request.get("start_u_s") or 0.0, 0.0, COARSEST_FRAME_S, "start_u_s", "s")
    problems += check_range(request.get("display_s") or 0.0, 0.0, SLOWEST_DISPLAY_S, "display_s", "s")
    if request.get("start_from") not in (None, "picture", "sound"):
        text = f"{show(request['start_from'])} is not picture or sound"
        problems.append(Problem("unknown_choice", "start_from", text))
    targets = request.get("targets")
    if not isinstance(targets, list) or not 0 < len(targets) <= MOST_TARGETS:
        return problems + [Problem("missing", "targets", f"give 1 to {MOST_TARGETS} pressures [bar] to time to")]
    for i in range(len(targets)):
        problems += check_range(targets[i], 0.1, HIGHEST_BAR, f"targets[{i}]", "bar")
    return problems


def describe_miss(ys: list, target: float) -> str:
    """Return why there is no time to a target."""
    if ys[0] >= target:
        return f"The first mark already shows {target:g} bar; mark a frame from before the rise."
    if max(ys) < target:
        return f"{target:g} bar was not reached; the highest mark is {max(ys):g} bar."
    return f"{target:g} bar was touched but did not stay; mark more frames around it."


def describe_coarse(target: float, seconds: float, gap_s: float, frame_s: float) -> list:
    """Return warnings about a time whose frames or marks lie too far apart."""
    warnings = []
    if gap_s > COARSE_SHARE * seconds and gap_s > 1.5 * frame_s:
        warnings.append(f"Around {target:g} bar the marks are {gap_s:.2f} s apart; mark frames closer to it.")
    if frame_s > COARSE_SHARE * seconds:
        warnings.append(f"One frame takes {frame_s:.2f} s of a rise of {seconds:.2f} s: too coarse to rely on.")
    return warnings


def time_target(target: float, start_s: float, start_u_s: float, xs: list, ys: list, request: dict) -> tuple:
    """Return ({target_bar, seconds, standard_uncertainty}, warnings) of one target; seconds None when never reached."""
    missed = {"target_bar": target, "seconds": None, "standard_uncertainty": None}
    i = crossing_piece(ys, target)
    if i is None:
        return missed, [describe_miss(ys, target)]
    slopes = monotone_slopes(xs, ys)
    frame_s, step_bar, display_s = request["frame_s"], request["reading_resolution_bar"], request.get("display_s") or 0.0
    moment = crossing_time(xs, ys, slopes, i, target)
    straight = xs[i] + (xs[i + 1] - xs[i]) * (target - ys[i]) / (ys[i + 1] - ys[i])
    by_step = crossing_time(xs, ys, slopes, i, target + 0.5 * step_bar)
    by_step -= crossing_time(xs, ys, slopes, i, target - 0.5 * step_bar)
    seconds = moment - 0.5 * display_s - start_s  # what a display shows is on average half its own step old
    if seconds <= 0.0:
        return missed, [f"{target:g} bar is shown before the start of cranking; mark the start again."]
    terms = [start_u_s, resolution(frame_s), resolution(by_step), resolution(display_s), rectangular(moment - straight)]
    row = {"target_bar": target, "seconds": seconds, "standard_uncertainty": combine_uncertainty(terms)}
    warnings = describe_coarse(target, seconds, xs[i + 1] - xs[i], frame_s)
    if min(ys[i + 1 :]) < target:
        warnings.append(f"The pressure falls below {target:g} bar again after it was reached.")
    return row, warnings


def draw_curve(xs: list, ys: list) -> list:
    """Return about CURVE_POINTS points [s, bar] of the curve through the marks, for drawing."""
    slopes, points = monotone_slopes(xs, ys), []
    pieces = max(1, CURVE_POINTS // (len(xs) - 1))
    for i in range(len(xs) - 1):
        for k in range(pieces):
            x = xs[i] + (xs[i + 1] - xs[i]) * k / pieces
            points.append([x, piece_value(xs, ys, slopes, i, x)])
    return points + [[xs[-1], ys[-1]]]


def read_film(request: dict) -> dict:
    """Return the rise times that a film shows.

    Inputs: {"start_s" [s] of the start of cranking: the first frame that shows it, or the moment of its sound;
    "start_from" "picture" (default) or "sound", then with its own "start_u_s" [s] where that is known; "marks"
    [[s, bar], ...] typed at frames; "frame_s" [s] widest spacing of the frames around them; "reading_resolution_bar"
    [bar] step of what was read; "display_s" [s] how long the filmed display stands between two values (0: at once);
    "targets" [bar]}.
    Returns: {"format", "start_s", "start_from", "frame_s", "rest_bar", "highest_bar", "slope_max_bar_per_s", "time_to"
    [{target_bar, seconds, standard_uncertainty}] (None, None: never reached), "curve" [[s, bar]], "warnings" [text]}.
    Refuses: missing, too_few, too_many, not_a_pair, not_a_number, impossible_value, duplicate, unknown_choice.
    Valid when: the film runs through from before the start; the camera's clock is right to a per mille.
    Example: start 1.0 s, marks 0 bar at 1.0 s and 300 bar at 2.0 s, frames of 0.04 s: 200 bar after 0.687 s.
    """
    problems = check_film(request)
    if problems:
        raise EngineError(problems)
    marks = sorted(request["marks"])
    xs, ys = [float(m[0]) for m in marks], [float(m[1]) for m in marks]
    by_sound = request.get("start_from") == "sound"
    # the first frame that shows the start is on average half a frame late; a sound stands where it stands
    start_s = request["start_s"] if by_sound else request["start_s"] - 0.5 * request["frame_s"]
    start_u_s = resolution(request["frame_s"])
    if by_sound:
        start_u_s = combine_uncertainty([rectangular(SOUND_OFFSET_S), request.get("start_u_s") or 0.0])
    rows, warnings = [], []
    for target in request["targets"]:
        row, found = time_target(target, start_s, start_u_s, xs, ys, request)
        rows.append(row)
        warnings += found
    if xs[0] > request["start_s"]:
        warnings.append("The first mark lies after the start of cranking; mark a frame at or before it.")
    return {
        "format": FORMAT, "start_s": start_s, "start_from": "sound" if by_sound else "picture",
        "frame_s": request["frame_s"], "rest_bar": ys[0], "highest_bar": max(ys),
        "slope_max_bar_per_s": max([(ys[i + 1] - ys[i]) / (xs[i + 1] - xs[i]) for i in range(len(xs) - 1)]),
        "time_to": rows, "curve": draw_curve(xs, ys), "warnings": warnings,
    }  # fmt: skip
