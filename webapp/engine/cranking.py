"""Start and speed of cranking from the battery's voltage or the starter's current.

Rules for this file: seconds and the recorded unit; a current is turned over so that a load always pulls the record down.
Method: the starter is the greatest load: the first great fall of the record is its own, and the start is where the record
leaves the level just before that fall. While the engine turns each compression pulls the record down once; a four-stroke
engine has half as many compressions a turn as cylinders. The depth of each pull, compared at the same place in the order of
firing, is the relative compression.
Sources: compression ripple of battery and starter: common practice, no published source; the means are ours.
All shares and times below are judgement.
"""

import math

from .numeric import mean, median, sample_sd
from .uncertainty import combine_uncertainty, resolution
from .waveform import between, drop_spikes, find_ripple, last_point, noise_sd, smooth, usual_step

LEAST_FALL = {"battery_voltage": 0.5, "starter_current": 40.0}  # V, A: a smaller pull is no starter
FALL_S, FALL_SHARE = 0.1, 0.6  # the greatest fall within this time; the first that comes up to this share of it
LEFT_SHARE = 0.15  # of the fall, at which the level before it is left
NOISE_SHARE = 5.0
SETTLE_S = 0.15  # the rush of current into the standing starter
BEFORE_S = 0.5
SLOWEST_HZ, FASTEST_RPM = 1.0, 400.0
LEAST_RIPPLE_SHARE = 0.004  # of the fall
POINTS_A_COMPRESSION = 3.0  # at the fastest; with fewer a slower ripple is feigned
ROUNDS = 2  # of the whole firing order, below which cylinders are not compared
LONGEST_S = 30.0


def falls_within(t: list, values: list, width_s: float) -> list:
    """Return for each point how far the record falls within width_s after it, and at the next point at least."""
    falls: list = []
    queue: list = []  # points whose value is below all that come after it in the window
    head = last = 0
    for i in range(len(values)):
        while last < len(values) and (t[last] <= t[i] + width_s or last <= i + 1):
            while len(queue) > head and values[queue[-1]] >= values[last]:
                queue.pop()
            queue.append(last)
            last += 1
        while queue[head] < i:
            head += 1
        falls.append(values[i] - values[queue[head]])
    return falls


def find_fall(t: list, values: list, least: float) -> tuple | None:
    """Return (first point below its middle, level before, depth) of the first great fall, None without any."""
    falls = falls_within(t, values, FALL_S)
    most = max(falls)
    if most < least:
        return None
    i = 0
    while falls[i] < FALL_SHARE * most:
        i += 1
    middle = values[i] - 0.5 * falls[i]
    while values[i] > middle:
        i += 1
    before = [values[k] for k in range(i) if t[k] >= t[i] - BEFORE_S and values[k] > middle]
    before = before or [values[i - 1]]
    return i, median(before), median(before) - values[i]


def find_start(t: list, values: list, least: float) -> tuple | None:
    """Return (start, its standard uncertainty, level before, point of the fall), None if unseen.

    Valid when: the record begins before the starter is engaged. The start lies at LEFT_SHARE of the
    fall, interpolated, or in the middle of a step that holds most of the fall.
    """
    found = find_fall(t, values, least)
    if found is None:
        return None
    i, before, depth = found
    share = max(LEFT_SHARE, min(0.5, NOISE_SHARE * noise_sd(t, values) / depth))
    level = before - share * depth
    first = i
    while first > 1 and values[first - 1] < level:
        first -= 1
    if values[first] < before - 0.5 * depth:  # the fall took less than a step: it lies anywhere in it
        return 0.5 * (t[first - 1] + t[first]), resolution(t[first] - t[first - 1]), before, i
    return between(t, values, first - 1, level), resolution(t[first] - t[first - 1]), before, i


def cranking_level(t: list, values: list, i: int) -> float:
    """Return the median of the first half second after the rush that follows point i."""
    part = [v for x, v in zip(t, values) if t[i] + SETTLE_S <= x <= t[i] + SETTLE_S + BEFORE_S]
    return median(part) if part else values[i]


def find_end(t: list, values: list, first: int, before: float, low: float) -> float:
    """Return when the record has come back up and stays there, or its last time."""
    back = low + 0.7 * (before - low)
    for i in range(first, len(values)):
        if values[i] > back and t[i] > t[first] + SETTLE_S:
            last = last_point(t, t[i] + SETTLE_S)
            if min(values[i : last + 1]) > back:
                return t[i]
    return t[-1]


def depths_of(t: list, values: list, passes: list) -> list:
    """Return how far the record falls from the crest before each compression: crest to trough between two passes."""
    found = []
    for k in range(len(passes) - 1):
        part = values[last_point(t, passes[k]) + 1 : last_point(t, passes[k + 1]) + 1]
        if part:
            found.append(max(part) - min(part))
    return found


def compare_compressions(depths: list, cylinders: int) -> list | None:
    """Return each cylinder's mean depth over the mean of all, from an unknown first on; None with too few rounds."""
    rounds = len(depths) // cylinders
    if rounds < ROUNDS:
        return None
    used = depths[len(depths) - rounds * cylinders :]
    level = mean(used)
    return [mean([used[r * cylinders + c] for r in range(rounds)]) / level for c in range(cylinders)]


def read_speed(t: list, values: list, start: float, end: float, fall: float, cylinders: int) -> dict | None:
    """Return the speed from the ripple between start and end, None where it cannot be told.

    Returns: speed_rpm, standard_uncertainty, compressions, relative (list or None).
    Example: 8.4 compressions a second and 4 cylinders are 252 rpm.
    """
    first, last = last_point(t, start + SETTLE_S) + 1, last_point(t, min(end, start + LONGEST_S))
    fastest_hz = FASTEST_RPM / 60.0 * 0.5 * cylinders
    if last - first < 12 or usual_step(t[first : last + 1]) * POINTS_A_COMPRESSION * fastest_hz > 1.0:
        return None
    wide = 1.0 / SLOWEST_HZ
    times, slow = smooth(t[first : last + 1], values[first : last + 1], wide)
    step = usual_step(times)
    fine_t, fine = smooth(t[first : last + 1], values[first : last + 1], max(2.0 * step, 0.01))
    rest = [a - b for a, b in zip(fine, slow)]
    found = find_ripple(fine_t, rest, 0.0, LEAST_RIPPLE_SHARE * fall)
    if found is None:
        return None
    _, hertz, passes = found
    if not SLOWEST_HZ <= hertz <= fastest_hz:
        return None
    periods = [passes[i + 1] - passes[i] for i in range(len(passes) - 1)]
    per_turn = 0.5 * cylinders
    span = passes[-1] - passes[0]
    # the ends of the span are placed to about a step; the speed's own swing within it is not an error of its mean
    u_span = combine_uncertainty([resolution(step), resolution(step), sample_sd(periods) / math.sqrt(len(periods))])
    rpm = 60.0 * hertz / per_turn
    relative = compare_compressions(depths_of(fine_t, rest, passes), cylinders)
    return {
        "speed_rpm": rpm, "standard_uncertainty": rpm * u_span / span, "compressions": len(periods), "relative": relative,
    }  # fmt: skip


def read_cranking(t: list, values: list, kind: str, cylinders: int | None) -> dict | None:
    """Return start, end and speed of cranking.

    Inputs: t [s], values [V or A] with None taken out; kind "battery_voltage" or "starter_current"; cylinders or None.
    Returns: start_s, start_u_s, end_s, speed (read_speed or None), extreme (lowest voltage or highest current after the
    rush); None where no starter is seen.
    """
    if len(t) < 8:
        return None
    sign = -1.0 if kind == "starter_current" else 1.0
    pulled = drop_spikes([sign * v for v in values])
    found = find_start(t, pulled, LEAST_FALL[kind])
    if found is None:
        return None
    start, u, before, i = found
    low = cranking_level(t, pulled, i)
    end = find_end(t, pulled, i, before, low)
    speed = read_speed(t, pulled, start, end, before - low, cylinders) if cylinders else None
    part = pulled[last_point(t, start + SETTLE_S) : last_point(t, end) + 1] or pulled[i : i + 1]
    return {"start_s": start, "start_u_s": u, "end_s": end, "speed": speed, "extreme": sign * min(part)}
