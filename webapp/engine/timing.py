"""A rise timed by hand: what several attempts are worth.

Rules for this file: seconds; the person's own figure may replace the published one, never go below the clock's step.
Method: mean of the attempts; standard uncertainty of the mean from the published start-stop figure (or the person's own
rehearsal), or from the scatter of the attempts where that is larger.
Sources: Faux and Godolphin, Manual timing in physics experiments: error and uncertainty, Am. J. Phys. 87(2):110 (2019),
abstract: a start-stop pair of anticipated events scatters with 0.10 s. For events that are not anticipated no published
figure was found: 0.20 s is judgement.
"""

import math

from .numeric import is_number, mean, sample_sd
from .problems import EngineError, Problem, refuse, show

PAIR_SD_EXPECTED_S = 0.10
PAIR_SD_UNEXPECTED_S = 0.20  # judgement
LEAST_SD_S = 0.02  # judgement: a screen touch is not placed better in time than about one frame
LONGEST_RISE_S = 60.0
RELATIVE_TOO_COARSE = 0.25


def check_attempts(attempts: object) -> list:
    """Return problems of a list of {start_s, end_s}."""
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
    return problems


def combine_attempts(attempts: list, expected: bool, own_sd_s: float | None) -> dict:
    """Combine hand-timed attempts.

    Inputs: attempts [{start_s, end_s}] of one clock; expected True when the event was awaited; own_sd_s [s] the standard
    deviation of this person's rehearsal or None.
    Returns: {value [s], standard_uncertainty [s], attempts, text}.
    Refuses: missing, not_a_number, impossible_value.
    Example: one attempt of 1.4 s gives 1.4 s with 0.10 s.
    """
    problems = check_attempts(attempts)
    if problems:
        raise EngineError(problems)
    if own_sd_s is not None and (not is_number(own_sd_s) or not 0.0 <= own_sd_s <= 5.0):
        raise refuse("impossible_value", "own_sd_s", f"{show(own_sd_s)} s cannot be a reaction scatter; rehearse again")
    published = PAIR_SD_EXPECTED_S if expected else PAIR_SD_UNEXPECTED_S
    single = published if own_sd_s is None else max(own_sd_s, LEAST_SD_S)
    times = [row["end_s"] - row["start_s"] for row in attempts]
    if len(times) > 1:
        single = max(single, sample_sd(times))
    value, u = mean(times), single / math.sqrt(len(times))
    text = f"{value:.2f} s from {len(times)} attempt{'s' if len(times) > 1 else ''}, good to about {2.0 * u:.2f} s."
    if u > RELATIVE_TOO_COARSE * value:
        text += " Too quick for a thumb: take more attempts, or use a recorded trace."
    return {"value": value, "standard_uncertainty": u, "attempts": len(times), "text": text}
