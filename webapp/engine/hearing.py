"""Cranking heard by the phone: onset, speed by the beat of the compressions, end.

Rules for this file: levels in, seconds and rpm out; no number where the sound does not carry it, and then words that say
why. The first LEVEL_CHECK_S of a record is the place without the starter: the screen asks for quiet before it says crank.
Method: sound power of short frames; the onset is where the power rises to stay, placed by the likeliest change of variance
between two stretches of noise; the beat is the first strong peak of the autocorrelation of the levels (a later peak only
when it is far higher: one weak cylinder repeats each cycle, not each beat), made finer over as many beats as agree.
A four-stroke engine has cylinders / 2 compressions a turn.
Sources: change of variance, Hinkley, Inference about the change-point, Biometrika 57 (1970), from memory; thresholds are
judgement, checked on generated starters in workshop noise (tests/engine/starter.py).
"""

import math

from .numeric import is_number, mean, median, root_sum_square
from .problems import EngineError, Problem, show

LEAST_RATE_HZ, MOST_RATE_HZ = 100.0, 400.0
MOST_FRAMES = 6000
LEVEL_CHECK_S = 0.8
STEADY_S, BANG_CUT = 0.3, 12.0  # a bang is shorter than this, and counts for no more than so many times the noise
WEAK_RATIO, WEAK_S = 1.6, 0.5
LEAST_RATIO = 3.5  # power with the starter over power without: 4 dB of signal over noise
SOFT_RATIO, SOFT_CUT, SOFT_REACH_S = 3.0, 5.0, 0.2
LOUDEST, CLIPPED_SHARE = 0.98, 0.02
SILENT = 1e-5
RUN_UP_S = 0.45  # the first turns are slow
RUN_DOWN_S = 0.1
LEAST_LISTENED_S = 1.2
SLOWEST_RPM, FASTEST_RPM = 60.0, 450.0
LEAST_CORRELATION = 0.25
FIRST_PEAK = 0.6  # of the highest: a dead cylinder of four leaves 2/3, a second bump between two beats less than this
MOST_BEATS = 6
ATTACK_S = 0.01
RELATIVE_FLOOR = 0.006
PEAK_CUT = 3.0
MOST_SCATTER = 0.08  # an engine that catches changes its speed more than this


def check_levels(levels: object, rate_hz: object, cylinders: object) -> None:
    """Refuse what is not a record of levels: bad_rate, bad_count, not_a_list, impossible_value, too_long."""
    if not (is_number(rate_hz) and LEAST_RATE_HZ <= rate_hz <= MOST_RATE_HZ):  # type: ignore[operator]
        text = f"{show(rate_hz)} frames a second; give {LEAST_RATE_HZ:g} to {MOST_RATE_HZ:g}"
        raise EngineError([Problem("bad_rate", "rate_hz", text)])
    if not (is_number(cylinders) and cylinders in range(2, 17)):
        raise EngineError([Problem("bad_count", "cylinders", f"{show(cylinders)} is not a count of cylinders, 2 to 16")])
    if not isinstance(levels, list):
        raise EngineError([Problem("not_a_list", "levels", f"{show(levels)} is not a list of levels from 0 to 1")])
    if len(levels) > MOST_FRAMES:
        raise EngineError([Problem("too_long", "levels", f"{len(levels)} frames; give {MOST_FRAMES} at most")])
    wrong = [i for i, level in enumerate(levels) if type(level) not in (int, float) or not 0.0 <= level <= 1.5]
    if wrong:
        text = f"{show(levels[wrong[0]])} is not a level from 0 to 1"
        raise EngineError([Problem("impossible_value", f"levels[{wrong[0]}]", text)])


def running_sums(values: list) -> list:
    """Return [0, v0, v0 + v1, ...]."""
    sums, total = [0.0], 0.0
    for value in values:
        total += value
        sums.append(total)
    return sums


def place_change(sums: list, first: int, last: int) -> tuple:
    """Return (frame, standard uncertainty in frames) of the likeliest change of variance between two frames.

    Inputs: sums running sums of power. A change at k means: frames before k are of one power, frames from k of another.
    """
    costs = []
    for k in range(first + 2, last - 1):
        before = max((sums[k] - sums[first]) / (k - first), 1e-16)
        after = max((sums[last] - sums[k]) / (last - k), 1e-16)
        costs.append((k - first) * math.log(before) + (last - k) * math.log(after))
    least = min(costs)
    weights = [math.exp(max(least - cost, -700.0)) for cost in costs]
    total = sum(weights)
    centre = sum([i * w for i, w in enumerate(weights)]) / total
    spread = sum([(i - centre) ** 2 * w for i, w in enumerate(weights)]) / total
    return first + 2 + centre, math.sqrt(spread)


def reach_out(power: list, noise: float, frame: float, step: int, reach: int) -> float:
    """Return the outermost frame, stepping from a placed change, that still holds more than the place's own noise.

    Between two compressions the starter is soft: the likeliest change may sit at the first loud one. Page's sum with a
    power of SOFT_RATIO times the noise decides how far the burst goes on outside it.
    """
    total = best = 0.0
    found, start = frame, int(frame) if step < 0 else int(frame) - 1
    for away in range(1, reach + 1):
        i = start + step * away
        if not 0 <= i < len(power):
            break
        total += min(power[i] / noise, SOFT_CUT) * (1.0 - 1.0 / SOFT_RATIO) - math.log(SOFT_RATIO)
        if total > best:
            best, found = total, float(i if step < 0 else i + 1)
    return found


def find_rise(sums: list, wide: int, bar: float) -> int | None:
    """Return the first frame from which the mean power over `wide` frames is at least bar, None where it never is."""
    count = len(sums) - 1
    for i in range(count - wide + 1):
        if sums[i + wide] - sums[i] >= bar * wide:
            return i
    return None


def is_weak_burst(sums: list, wide: int, bar: float) -> bool:
    """True when the mean power is at least bar for two stretches in a row: the first moments of a loud burst are not."""
    stretches = range(len(sums) - 2 * wide)
    return any([min(sums[i + wide] - sums[i], sums[i + 2 * wide] - sums[i + wide]) >= bar * wide for i in stretches])


def widen(power: list, noise: float, change: tuple, step: int, reach: int) -> tuple:
    """Return a change (frame, u) moved out as far as the burst goes on; half of the way is not sure."""
    frame, spread = change
    moved = reach_out(power, noise, frame, step, reach)
    return moved, root_sum_square([spread, abs(moved - frame) / 2.0])


def find_bursts(power: list, noise: float, rate_hz: float) -> tuple:
    """Return (onset, its u, end or None, its u or None) in frames of the first burst that stays; (None,) * 4 without one."""
    sums, wide, reach = running_sums(power), int(STEADY_S * rate_hz), int(SOFT_REACH_S * rate_hz)
    start = find_rise(sums, wide, LEAST_RATIO * noise)
    if start is None:
        return None, None, None, None
    change = place_change(sums, max(start - wide, 0), min(start + 2 * wide, len(power)))
    onset, onset_u = widen(power, noise, change, -1, reach)
    level = quiet = None
    from_frame = min(int(onset) + wide, len(power))
    for i in range(from_frame, len(power) - wide + 1):
        level = (sums[i] - sums[int(onset)]) / (i - int(onset))
        if sums[i + wide] - sums[i] <= math.sqrt(noise * max(level, noise)) * wide:
            quiet = i
            break
    if quiet is None:
        return onset, onset_u, None, None
    change = place_change(sums, max(quiet - 2 * wide, int(onset) + 2), min(quiet + wide, len(power)))
    end, end_u = widen(power, noise, change, 1, reach)
    return onset, onset_u, end, end_u


def level_out(levels: list, rate_hz: float, slowest_hz: float) -> list:
    """Return levels less their moving mean over one slowest beat, bangs cut off."""
    cut = PEAK_CUT * median(levels)
    flat = [min(level, cut) for level in levels]
    sums, half, count = running_sums(flat), int(0.5 * rate_hz / slowest_hz) + 1, len(flat)
    return [
        flat[i] - (sums[min(i + half, count)] - sums[max(i - half, 0)]) / (min(i + half, count) - max(i - half, 0))
        for i in range(count)
    ]


def correlation(wave: list, squares: list, lag: int) -> float:
    """Return the autocorrelation of a wave without mean at a lag, 1 at lag 0; squares: running sums of its squares."""
    count = len(wave) - lag
    below = squares[count] * (squares[-1] - squares[lag])
    return sum([a * b for a, b in zip(wave[:count], wave[lag:])]) / math.sqrt(below) if below > 0.0 else 0.0


def peak_near(wave: list, squares: list, lag: float, reach: int) -> tuple:
    """Return (lag, correlation) of the highest point within reach of a lag, placed between frames by a parabola."""
    first = max(int(lag + 0.5) - reach, 1)
    values = [correlation(wave, squares, first + i) for i in range(2 * reach + 1)]
    best = max(range(1, len(values) - 1), key=lambda i: (values[i], -i))
    left, top, right = values[best - 1], values[best], values[best + 1]
    bend = left - 2.0 * top + right
    shift = 0.5 * (left - right) / bend if bend < 0.0 else 0.0
    return first + best + max(-0.5, min(0.5, shift)), top


def find_beat(wave: list, longest: int) -> int | None:
    """Return the lag of one beat in frames, None without a clear one."""
    longest = min(longest, len(wave) // 3)
    squares = running_sums([v * v for v in wave])
    values = [correlation(wave, squares, lag) for lag in range(1, longest + 2)]
    below = [i for i in range(len(values)) if values[i] < 0.0]  # until then a level only looks like itself
    tops = [i for i in range(below[0], len(values) - 1) if values[i - 1] <= values[i] > values[i + 1]] if below else []
    highest = max([values[i] for i in tops]) if tops else 0.0
    if highest < LEAST_CORRELATION:
        return None
    return 1 + min([i for i in tops if values[i] >= FIRST_PEAK * highest])


def refine_beat(wave: list, lag: float) -> float:
    """Return the lag of one beat from the farthest beat that still agrees: its place over their number."""
    squares = running_sums([v * v for v in wave])
    beat, top = peak_near(wave, squares, lag, 2)
    for beats in range(2, MOST_BEATS + 1):
        if beats * beat > 0.5 * len(wave):
            break
        place, value = peak_near(wave, squares, beats * beat, max(2, int(0.15 * beat)))
        if value < 0.5 * top:
            break
        beat = place / beats
    return beat


def find_speed(levels: list, rate_hz: float, cylinders: int) -> tuple:
    """Return (cranking speed [rpm] or None, standard uncertainty [rpm] or None) of levels from settled cranking.

    The uncertainty is the scatter of the speed over three overlapping parts, with a floor for the phone's clock and frames.
    Beats quicker than a starter makes are looked for as well, so that every other beat of a running engine is not taken for
    cranking.
    """
    beats_a_turn = cylinders / 2.0
    slowest_hz = SLOWEST_RPM * beats_a_turn / 60.0
    wave = level_out(levels, rate_hz, slowest_hz)
    lag = find_beat(wave, int(rate_hz / slowest_hz) + 1)
    if lag is None:
        return None, None
    whole = refine_beat(wave, lag)
    half = len(wave) // 2
    parts = [refine_beat(wave[i * half // 2 : i * half // 2 + half], whole) for i in range(3)]
    rpm = 60.0 * rate_hz / whole / beats_a_turn
    scatter = max([abs(part - whole) for part in parts]) / whole / 2.0
    if rpm > FASTEST_RPM or scatter > MOST_SCATTER:
        return None, None
    return rpm, rpm * root_sum_square([RELATIVE_FLOOR, scatter])


def judge_place(levels: list, rate_hz: float) -> tuple:
    """Return (status, noise power, sentence) of the first stretch, before anything cranks."""
    check = levels[: int(LEVEL_CHECK_S * rate_hz)]
    if len(check) < int(LEVEL_CHECK_S * rate_hz):
        return "checking", 0.0, "Quiet for a moment: the phone listens to the place first."
    noise = mean([level * level for level in check])
    if max(levels) < SILENT:
        return "deaf", noise, "The microphone hears nothing at all. Is it covered, or switched off for this app?"
    loud = len([1 for level in check if level > LOUDEST])
    if loud > CLIPPED_SHARE * len(check) or noise > 0.1:
        return "too_loud", noise, "It is too loud here already. Switch off what can be switched off, or move the phone."
    return "ready", max(noise, SILENT * SILENT), "Quiet enough. Crank now, five seconds."


def empty_answer(status: str, noise: float, text: str) -> dict:
    """Return an answer without numbers; every answer has these keys."""
    return {
        "status": status, "onset_s": None, "onset_u_s": None, "end_s": None, "end_u_s": None, "speed_rpm": None,
        "speed_u_rpm": None, "noise_level": math.sqrt(noise), "level_over_noise_db": None, "text": text,
    }  # fmt: skip


def too_noisy(answer: dict) -> dict:
    answer["status"] = "noisy"
    answer["text"] = "It is too noisy here to say when it cranked or how fast. Try again with less noise, or by another way."
    return answer


def hear_cranking(levels: list, rate_hz: float, cylinders: int) -> dict:
    """Return what a record of sound levels says of one burst of cranking; ask again as the record grows.

    Inputs: levels [0 to 1] root mean square of the sound in each frame, from before the cranking; rate_hz [1/s] frames;
    cylinders of the four-stroke engine.
    Returns: status "checking" | "deaf" | "too_loud" | "ready" (nothing cranks yet) | "cranking" | "heard" (it has ended) |
    "noisy" (something turns, the place is too loud for a number), onset_s, end_s with standard uncertainties [s from the
    record's start], speed_rpm with its own [rpm], noise_level, level_over_noise_db [dB, signal over noise], text. None
    where the sound does not say it.
    Refuses: bad_rate, bad_count, not_a_list, impossible_value, too_long.
    Valid when: the first LEVEL_CHECK_S s are without the starter. Example: tests/engine/test_hearing.py.
    """
    check_levels(levels, rate_hz, cylinders)
    status, noise, text = judge_place(levels, rate_hz)
    answer = empty_answer(status, noise, text)
    if status != "ready":
        return answer
    power = [level * level for level in levels]
    held = [min(p, BANG_CUT * noise) for p in power]
    onset, onset_u, end, end_u = find_bursts(held, noise, rate_hz)
    if onset is None:
        return too_noisy(answer) if is_weak_burst(running_sums(held), int(WEAK_S * rate_hz), WEAK_RATIO * noise) else answer
    last = len(levels) if end is None else int(end)
    ratio = mean(power[int(onset) : last]) / noise
    answer["level_over_noise_db"] = 10.0 * math.log(max(ratio - 1.0, 1e-9)) / math.log(10.0)
    answer["status"] = "cranking" if end is None else "heard"
    if ratio < LEAST_RATIO:
        return too_noisy(answer)
    answer["onset_s"], answer["onset_u_s"] = moment(onset, onset_u, rate_hz)
    if end is not None:
        answer["end_s"], answer["end_u_s"] = moment(end, end_u, rate_hz)
    settled = levels[int(onset + RUN_UP_S * rate_hz) : last - int(RUN_DOWN_S * rate_hz)]
    if len(settled) >= LEAST_LISTENED_S * rate_hz:
        answer["speed_rpm"], answer["speed_u_rpm"] = find_speed(settled, rate_hz, cylinders)
    answer["text"] = describe_hearing(answer)
    return answer


def moment(frame: float, spread: float, rate_hz: float) -> tuple:
    """Return (seconds, standard uncertainty): the spread of the change, one frame, and how softly a starter begins."""
    return frame / rate_hz, root_sum_square([spread / rate_hz, 1.0 / rate_hz / math.sqrt(12.0), ATTACK_S])


def describe_hearing(answer: dict) -> str:
    if answer["speed_rpm"] is not None:
        speed = f"{answer['speed_rpm']:.0f} rpm, good to about {2.0 * answer['speed_u_rpm']:.0f} rpm."
        return f"It cranks: {speed}" if answer["end_s"] is None else f"Heard: {speed}"
    if answer["end_s"] is None:
        return "It cranks. Go on."
    spent = answer["end_s"] - answer["onset_s"]
    if spent < RUN_UP_S + RUN_DOWN_S + LEAST_LISTENED_S:
        return f"Heard {spent:.1f} s of cranking, too short for the speed. Crank for five seconds."
    return "Heard it, but no even beat of cranking, so no speed. Did it start? If not, put the phone nearer the engine."


def hear(request: dict) -> dict:
    """Answer the door: {"levels", "rate_hz", "cylinders"} to hear_cranking."""
    return hear_cranking(request.get("levels"), request.get("rate_hz"), request.get("cylinders"))  # type: ignore[arg-type]
