"""A rise timed by hand: what several attempts are worth.

Rules for this file: seconds; the person's own figures may replace the published ones, never go below the clock's step.
Method: mean of the attempts; the start of each was awaited, came as a surprise, or was heard by the phone. Two thumbs
late by the same mean cancel; a single thumb against a heard start has its mean lateness taken off. The scatter of the
attempts takes the place of the published figure where it is larger than that figure can explain (chi-square, 1 %). The
95 % half-width uses Student's t where the spread comes from few goes; the standard uncertainty is that half-width over
1.96, so that what reads it as normal states 95 % rightly.
Sources: Faux and Godolphin, Manual timing in physics experiments: error and uncertainty, Am. J. Phys. 87(2):110 (2019),
abstract: the reaction to an anticipated event seen is normal, 0.11 s with 0.07 s, and a start-stop pair scatters with
0.10 s. For a start that comes as a surprise no figure was read: 0.24 s is from memory of NIST SP 960-12 (2009), where a
mean of 0.12 s (rectangular) and a deviation of 0.23 s are combined. Chi-square quantile: Wilson and Hilferty, as in
Abramowitz and Stegun 26.4.17 (clause from memory, checked against scipy).
"""

import math

from .numeric import is_number, mean, normal_quantile, root_sum_square, sample_sd
from .problems import EngineError, Problem, refuse, show
from .uncertainty import coverage_factor

REACTION_MEAN_S, REACTION_SD_S = 0.11, 0.07
PAIR_SD_EXPECTED_S = 0.10
PAIR_SD_UNEXPECTED_S = 0.24  # from memory, see above
LEAST_SD_S = 0.02  # judgement: a screen touch is not placed better in time than about one frame
HEARING_DELAY_U_S = 0.02  # judgement: how long the phone takes from sound to message, beyond what is measured
LONGEST_RISE_S = 60.0
RELATIVE_TOO_COARSE = 0.25
MOST_ADVISED_ATTEMPTS = 5  # judgement: the starter gets hot
FEWEST_GOES = 5
COVERAGE = 0.95
SCATTER_DOUBT = 0.01
STARTS = ("awaited", "surprise", "ear")
BETTER = ("film", "trace")


def chi_square_quantile(probability: float, dof: int) -> float:
    """Return the chi-square quantile after Wilson and Hilferty. Example: 0.99 and 4 gives 13.31, exact is 13.28."""
    part = 2.0 / (9.0 * dof)
    return dof * (1.0 - part + normal_quantile(probability) * math.sqrt(part)) ** 3


def check_attempts(attempts: object) -> list:
    """Return problems of a list of {start_s, end_s, start, start_u_s}."""
    if not isinstance(attempts, list) or not attempts:
        return [Problem("missing", "taps", "no attempt was timed; tap start and reached once")]
    problems = []
    for i in range(len(attempts)):
        row = attempts[i] if isinstance(attempts[i], dict) else {}
        start, end = row.get("start_s"), row.get("end_s")
        if not is_number(start) or not is_number(end):
            text = f"{show(attempts[i])} needs start_s and end_s as numbers"
            problems.append(Problem("not_a_number", f"taps[{i}]", text))
        elif not 0.0 < end - start <= LONGEST_RISE_S:  # type: ignore[operator]
            text = f"{end - start:g} s cannot be a rise time; time it again"  # type: ignore[operator]
            problems.append(Problem("impossible_value", f"taps[{i}]", text))
        if (row.get("start") or STARTS[0]) not in STARTS:
            text = f"{show(row['start'])} is not one of {', '.join(STARTS)}"
            problems.append(Problem("unknown_choice", f"taps[{i}].start", text))
        if row.get("start") == "ear" and not (is_number(row.get("start_u_s")) and 0.0 <= row["start_u_s"] <= 1.0):
            text = f"{show(row.get('start_u_s'))} s cannot be how well a start was heard; give 0 to 1"
            problems.append(Problem("impossible_value", f"taps[{i}].start_u_s", text))
    return problems


def check_own(own: dict) -> list:
    """Return problems of a person's rehearsal {sd_s, mean_s, goes}; each may be None."""
    ranges = (("sd_s", 0.0, 5.0), ("mean_s", -2.0, 2.0), ("goes", FEWEST_GOES, 10000))
    return [
        Problem("impossible_value", f"own_{name}", f"{show(own[name])} cannot come from a rehearsal; rehearse again")
        for name, low, high in ranges
        if own.get(name) is not None and not (is_number(own[name]) and low <= own[name] <= high)
    ]


def attempt_time(row: dict, kind: str, own: dict) -> float:
    """Return the time of one attempt [s]; from a heard start the thumb's mean lateness is taken off, never below 0."""
    spent = row["end_s"] - row["start_s"]
    if kind != "ear":
        return spent  # type: ignore[no-any-return]
    late = REACTION_MEAN_S if own.get("mean_s") is None else own["mean_s"]
    return max(spent - late, 0.0)


def attempt_u(row: dict, kind: str, own: dict) -> float:
    """Return the standard uncertainty of one attempt [s]."""
    pair = PAIR_SD_EXPECTED_S if own.get("sd_s") is None else max(own["sd_s"], LEAST_SD_S)
    if kind == "surprise":
        return max(pair, PAIR_SD_UNEXPECTED_S)
    if kind == "awaited":
        return pair
    tap = REACTION_SD_S if own.get("sd_s") is None else pair / math.sqrt(2.0)
    return root_sum_square([tap, row["start_u_s"], HEARING_DELAY_U_S])


def pool_spread(times: list, sizes: list, own: dict) -> tuple:
    """Return (standard uncertainty of the mean [s], degrees of freedom or None where the spread is taken as known, True
    when the attempts differ by more than the thumb explains)."""
    count = len(times)
    u = root_sum_square(sizes) / count
    dof = None if own.get("sd_s") is None else (own.get("goes") or FEWEST_GOES) - 1
    if count < 2:
        return u, dof, False
    scatter = sample_sd(times)
    bound = u * u * count * chi_square_quantile(1.0 - SCATTER_DOUBT, count - 1) / (count - 1)
    return (scatter / math.sqrt(count), count - 1, True) if scatter * scatter > bound else (u, dof, False)


def describe_timing(value: float, half_s: float, count: int, is_scattered: bool) -> tuple:
    """Return (resolved, sentence); a rise that the method cannot resolve is said to be so, with what would."""
    text = f"{value:.2f} s from {count} attempt{'s' if count > 1 else ''}, good to about {half_s:.2f} s."
    if is_scattered:
        text += " The attempts differ by more than a thumb explains: did the starter rest each time?"
    most = RELATIVE_TOO_COARSE * 2.0 * value
    if half_s <= most:
        return True, text
    if is_scattered:
        return False, text + " Take another, or film the gauge or use a recorded trace."
    needed = math.ceil(count * (half_s / most) ** 2) if value > 0.0 else MOST_ADVISED_ATTEMPTS + 1
    more = f"take {needed - count} more, or " if count < needed <= MOST_ADVISED_ATTEMPTS else ""
    return False, text + f" Too quick for a thumb: {more}film the gauge or use a recorded trace."


def combine_attempts(attempts: list, expected: bool, own: dict) -> dict:
    """Combine hand-timed attempts.

    Inputs: attempts [{start_s, end_s [s, one clock], start "awaited" | "surprise" | "ear", start_u_s [s] for ear}]; expected
    says what a row without start is; own {sd_s [s] of a start-stop pair, mean_s [s] lateness of one tap, goes}, each may be
    left out or None.
    Returns: {value [s], standard_uncertainty [s], half_width_s [s] of the 95 % interval, attempts, resolved, better (what
    resolves more, [] when this is good enough), text}.
    Refuses: missing, not_a_number, impossible_value, unknown_choice.
    Example: one attempt of 1.4 s gives 1.4 s with 0.10 s.
    """
    problems = check_attempts(attempts) + check_own(own)
    if problems:
        raise EngineError(problems)
    kinds = [row.get("start") or ("awaited" if expected else "surprise") for row in attempts]
    times = [attempt_time(row, kind, own) for row, kind in zip(attempts, kinds)]
    u, dof, is_scattered = pool_spread(times, [attempt_u(row, kind, own) for row, kind in zip(attempts, kinds)], own)
    normal = normal_quantile(0.5 + COVERAGE / 2.0)
    half = u * (normal if dof is None else coverage_factor(COVERAGE, dof))
    resolved, text = describe_timing(mean(times), half, len(times), is_scattered)
    return {
        "value": mean(times), "standard_uncertainty": half / normal, "half_width_s": half, "attempts": len(times),
        "resolved": resolved, "better": [] if resolved else list(BETTER), "text": text,
    }  # fmt: skip


def read_rehearsal(errors_s: object) -> dict:
    """Return what a rehearsal says of a person's thumb.

    Inputs: errors_s [s], tap less true moment, one a go.
    Returns: {mean_s lateness of one tap, sd_s of a start-stop pair (square root of two times that of a tap) or None, goes,
    left (goes still needed), text}.
    Refuses: not_a_list, not_a_number. Example: 0.03 0.04 0.05 0.06 0.07 gives 0.05 late and a pair of 0.02236 s.
    """
    if not isinstance(errors_s, list):
        raise refuse("not_a_list", "errors_s", f"{show(errors_s)} is not a list of seconds")
    if [e for e in errors_s if not is_number(e)]:
        raise refuse("not_a_number", "errors_s", f"{show(errors_s)} holds something that is not a number of seconds")
    goes = len(errors_s)
    late = mean(errors_s) if goes else 0.0
    if goes < FEWEST_GOES:
        left = FEWEST_GOES - goes
        text = f"{left} more {'go' if left == 1 else 'goes'} needed."
        return {"mean_s": late, "sd_s": None, "goes": goes, "left": left, "text": text}
    pair = max(math.sqrt(2.0) * sample_sd(errors_s), LEAST_SD_S)
    side = "early" if late < 0.0 else "late"
    text = f"Your thumb comes {abs(late):.2f} s {side}; from press to press it scatters by {pair:.2f} s."
    return {"mean_s": late, "sd_s": pair, "goes": goes, "left": 0, "text": text}


def time_by_hand(request: dict) -> dict:
    """Answer the door: {"taps", "expected", "own_sd_s", "own_mean_s", "own_goes"} to combine_attempts."""
    own = {name: request.get(f"own_{name}") for name in ("sd_s", "mean_s", "goes")}
    return combine_attempts(request.get("taps"), request.get("expected") is not False, own)  # type: ignore[arg-type]


def rehearse(request: dict) -> dict:
    """Answer the door: {"errors_s"} to read_rehearsal."""
    return read_rehearsal(request.get("errors_s"))
