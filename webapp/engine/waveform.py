"""Tools for a recorded waveform: spikes and noise, smoothing, state levels, local fits, ripple.

Rules for this file: times in seconds, values in any one unit; times never fall but need not be equally spaced; nothing here
knows what was recorded. Lists in, lists or plain numbers out; None where a record cannot tell.
Method: a running median of three takes out single-sample spikes; noise from second differences (median, so that edges and
spikes do not count); means over a window of time keep the mean of the times beside the mean of the values, so that an
uneven spacing moves no edge; state levels are the modes of the two halves of a histogram weighted by time, refined by the
mean around the mode; a crossing is placed by a parabola fitted around it.
Sources: IEEE Std 181-2011 5.2 (histogram state levels), 5.3 (interpolated reference-level instants) - read in secondary
descriptions only; the refinement around the mode and the weighting by time are ours (the bare mode is off by up to half a
bin). Median of absolute normal deviates 0.6745 sd: from tables of the normal distribution, checked against scipy.
"""

import math

from .numeric import mean, median

BINS = 100
MEDIAN_OF_NORMAL = 0.6744897501960817
SECOND_DIFFERENCE_SD = math.sqrt(1.5)  # of x[i] - (x[i-1] + x[i+1]) / 2 for independent noise of sd 1
EVEN = 1.5  # neighbouring steps count as equal within this factor
GAP_STEPS = 5.0
FEWEST_CYCLES = 3
UNEVEN_CYCLES = 0.45  # sd of the cycles over their mean, above which it is no ripple


def drop_spikes(values: list) -> list:
    """Return the running median of three; the two ends stay. Example: 1 1 9 1 1 gives 1 1 1 1 1."""
    kept = [values[0]]
    for i in range(1, len(values) - 1):
        a, b, c = values[i - 1], values[i], values[i + 1]
        kept.append(max(min(a, b), min(max(a, b), c)))
    return kept + [values[-1]]


def usual_step(t: list) -> float:
    """Return the median of the positive steps, 0 when there is none."""
    steps = [t[i + 1] - t[i] for i in range(len(t) - 1) if t[i + 1] > t[i]]
    return median(steps) if steps else 0.0


def noise_sd(t: list, values: list) -> float:
    """Return the standard deviation of the noise, from second differences of evenly spaced neighbours."""
    found = []
    for i in range(1, len(values) - 1):
        before, after = t[i] - t[i - 1], t[i + 1] - t[i]
        if 0.0 < before <= EVEN * after and after <= EVEN * before:
            found.append(abs(values[i] - 0.5 * (values[i - 1] + values[i + 1])))
    return median(found) / MEDIAN_OF_NORMAL / SECOND_DIFFERENCE_SD if found else 0.0


def value_step(values: list) -> float:
    """Return the smallest difference between two values that differ: the step of a coarse converter; 0 without any."""
    ranked = sorted(values)
    steps = [ranked[i + 1] - ranked[i] for i in range(len(ranked) - 1) if ranked[i + 1] > ranked[i]]
    return min(steps) if steps else 0.0


def smooth(t: list, values: list, width_s: float) -> tuple:
    """Return (times, values) averaged over a window of width_s around each point, both as means of what lies in it.

    A width below the spacing leaves all as it is. No window reaches over the ends: there it is made narrower on both sides.
    """
    times, means = [], []
    first, last, sum_t, sum_v = 0, 0, 0.0, 0.0  # points first..last-1 are in the sums, times counted from t[i] on
    origin = t[0]
    for i in range(len(t)):
        half = min(0.5 * width_s, t[i] - t[0], t[-1] - t[i])
        while last < len(t) and t[last] <= t[i] + half:
            sum_t += t[last] - origin
            sum_v += values[last]
            last += 1
        while t[first] < t[i] - half:
            sum_t -= t[first] - origin
            sum_v -= values[first]
            first += 1
        while last > i + 1 and t[last - 1] > t[i] + half:
            last -= 1
            sum_t -= t[last] - origin
            sum_v -= values[last]
        while first > 0 and t[first - 1] >= t[i] - half:
            first -= 1
            sum_t += t[first] - origin
            sum_v += values[first]
        times.append(origin + sum_t / (last - first))
        means.append(sum_v / (last - first))
    return times, means


def weights_of(t: list) -> list:
    """Return the time that each point stands for, a gap counted as no more than GAP_STEPS usual steps."""
    most = GAP_STEPS * usual_step(t) if len(t) > 1 else 1.0
    steps = [min(t[i + 1] - t[i], most) for i in range(len(t) - 1)]
    return [0.5 * ((steps[i - 1] if i else 0.0) + (steps[i] if i < len(steps) else 0.0)) for i in range(len(t))]


def mode_of(counts: list, first: int, last: int) -> int:
    """Return the fullest bin of first..last-1; of equals the one nearest the outer end of its half."""
    best = first
    for i in range(first, last):
        if counts[i] > counts[best] or (counts[i] == counts[best] and first > 0):
            best = i
    return best


def around(values: list, weights: list, centre: float, half: float) -> float:
    """Return the weighted mean of the values within half of the centre, moved to its own mean twice."""
    for _ in range(3):
        total = below = 0.0
        for v, w in zip(values, weights):
            if abs(v - centre) <= half:
                total += w * v
                below += w
        if below <= 0.0:
            return centre
        centre = total / below
    return centre


def state_levels(values: list, weights: list) -> tuple:
    """Return (low, high) state levels: modes of the halves of a histogram of BINS bins, refined.

    Inputs: weights the time that each value stands for. Returns: equal levels when all values are equal.
    Source: IEEE Std 181-2011 5.2. Example: 0 0 0 1 2 3 3 3, all weights 1, gives 0 and 3.
    """
    least, most = min(values), max(values)
    if most <= least:
        return least, most
    width = (most - least) / BINS
    counts = [0.0] * BINS
    for v, w in zip(values, weights):
        counts[min(int((v - least) / width), BINS - 1)] += w
    low, high = mode_of(counts, 0, BINS // 2), mode_of(counts, BINS // 2, BINS)
    centres = [least + (low + 0.5) * width, least + (high + 0.5) * width]
    return around(values, weights, centres[0], 1.5 * width), around(values, weights, centres[1], 1.5 * width)


def last_point(t: list, moment: float) -> int:
    """Return the index of the last point at or before a moment, 0 when there is none."""
    low, high = 0, len(t)
    while low < high:
        middle = (low + high) // 2
        if t[middle] <= moment:
            low = middle + 1
        else:
            high = middle
    return max(low - 1, 0)


def between(t: list, values: list, i: int, level: float) -> float:
    """Return when the straight line from point i to i + 1 passes a level."""
    rise = values[i + 1] - values[i]
    return t[i] if rise == 0.0 else t[i] + (t[i + 1] - t[i]) * (level - values[i]) / rise


def first_rise(t: list, values: list, level: float, first: int = 0) -> float | None:
    """Return the first instant from point `first` on at which the level is passed upwards, None when it is not."""
    for i in range(first, len(values) - 1):
        if values[i] < level <= values[i + 1]:
            return between(t, values, i, level)
    return None


def fit_parabola(t: list, values: list, centre: float) -> tuple | None:
    """Return (a, b, c) of a + b x + c x^2, x = t - centre, by least squares over at least four points; None if singular."""
    scale = max(abs(t[0] - centre), abs(t[-1] - centre))
    if len(t) < 4 or scale <= 0.0:
        return None
    s = [0.0] * 5
    r = [0.0] * 3
    for moment, v in zip(t, values):
        x = (moment - centre) / scale
        power = 1.0
        for k in range(5):
            s[k] += power
            if k < 3:
                r[k] += power * v
            power *= x
    m0, m1, m2 = s[2] * s[4] - s[3] * s[3], s[1] * s[4] - s[2] * s[3], s[1] * s[3] - s[2] * s[2]
    whole = s[0] * m0 - s[1] * m1 + s[2] * m2
    if abs(whole) < 1e-12 * len(t) ** 3:
        return None
    n0, n1, n2 = s[0] * s[4] - s[2] * s[2], s[0] * s[3] - s[1] * s[2], s[0] * s[2] - s[1] * s[1]
    a = (r[0] * m0 - r[1] * m1 + r[2] * m2) / whole
    b = (-r[0] * m1 + r[1] * n0 - r[2] * n1) / whole
    c = (r[0] * m2 - r[1] * n1 + r[2] * n2) / whole
    return a, b / scale, c / scale / scale


def fit_line(t: list, values: list) -> tuple:
    """Return (value at the mean time, slope) of the line of least squares; slope 0 where all times are equal."""
    centre, level = mean(t), mean(values)
    spread = sum([(x - centre) ** 2 for x in t])
    slope = sum([(x - centre) * (v - level) for x, v in zip(t, values)]) / spread if spread > 0.0 else 0.0
    return level, slope


def find_ripple(t: list, values: list, noise: float, rms_least: float) -> tuple | None:
    """Return (amplitude, frequency [Hz], moments of its upward passes) of a ripple on a nearly straight record, or None.

    Inputs: noise [sd] of the values; rms_least below which a ripple is not told from nothing. The amplitude is half of
    crest to trough of the sine with the same power. A pass counts when the record went a third of the ripple below before.
    """
    if len(t) < 12:
        return None
    level, slope = fit_line(t, values)
    centre = mean(t)
    rest = [v - level - slope * (x - centre) for x, v in zip(t, values)]
    power = sum([r * r for r in rest]) / len(rest) - noise * noise
    if power <= max(rms_least, noise) ** 2:
        return None
    amplitude = math.sqrt(2.0 * power)
    passes = upward_passes(t, rest, amplitude / 3.0)
    if len(passes) < FEWEST_CYCLES + 1:
        return None
    cycles = [passes[i + 1] - passes[i] for i in range(len(passes) - 1)]
    period = mean(cycles)
    if math.sqrt(mean([(c - period) ** 2 for c in cycles])) > UNEVEN_CYCLES * period:
        return None
    return amplitude, 1.0 / period, passes


def upward_passes(t: list, values: list, depth: float) -> list:
    """Return the instants at which the values pass 0 upwards, having been below -depth since the last one."""
    passes, armed = [], False
    moment = None
    for i in range(len(values)):
        if values[i] < -depth:
            armed = True
        if armed and i and values[i - 1] < 0.0 <= values[i]:
            moment = between(t, values, i - 1, 0.0)
        if armed and moment is not None and values[i] > depth:
            passes.append(moment)
            armed, moment = False, None
    return passes
