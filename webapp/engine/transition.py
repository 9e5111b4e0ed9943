"""A rise of pressure: levels before and after, when each target is reached for good, slope, ripple, onset.

Rules for this file: seconds and bar; never a figure that the record does not carry: then None, and a warning that says why.
Method: spikes out, noise measured, smoothed as far as the rise allows; state levels from histograms; a target is reached at
the first crossing after which the pressure stays above it for HOLD_S (longer for a slow ripple), so that crests of a ripple
and spikes do not count; the crossing is placed by a parabola fitted to the unsmoothed points around it, its standard
uncertainty from the noise over the slope and from the spacing of the points. Where a ripple dips below the target for good,
the mean over a whole ripple is timed and said so.
Sources: IEEE Std 181-2011 for levels, reference-level instants and transition duration (read in secondary descriptions);
hold times, shares and what counts as coarse are judgement.
"""

import math
from collections import namedtuple

from .numeric import mean, median
from .uncertainty import combine_uncertainty, resolution
from .waveform import (
    around,
    between,
    drop_spikes,
    find_ripple,
    first_rise,
    fit_line,
    fit_parabola,
    last_point,
    noise_sd,
    smooth,
    state_levels,
    usual_step,
    weights_of,
)

HOLD_S = 0.3
HOLD_RIPPLES = 1.25
LEAST_SPAN_BAR = 5.0  # a smaller rise is no rise
NOISE_WANTED = 0.0015  # of the span, by smoothing
SMOOTH_SHARE, FIT_SHARE = 1.0 / 80.0, 1.0 / 12.0  # of the rise time: widest window that leaves its shape alone
RIPPLE_SHARE = 0.1  # of a ripple's period, likewise
PLATEAU_BAND, PLATEAU_SHARE, LEAST_PLATEAU_S = 0.04, 0.3, 0.1
LEVEL_BAND = 0.004
SLOPE_S = 0.05
COARSE_SHARE, COARSE_STEPS = 0.01, 2.0
FEWEST_IN_RISE = 5
GAP_SHARE = 0.02
FLAT_POINTS, FEWEST_FLATS = 3, 4
HALVINGS, FEWEST_TO_FIT, ENOUGH_FOR_NOISE = 8, 7, 14
MISFIT, MISFIT_SHARE = 1.25, 0.01  # of the noise, and of the rise within half the window: what a good fit may be off

# raw as recorded; t, p: spikes out; ts, ps: smoothed; noise of raw, left in ps; quantum of a coarse converter; step: spacing
Record = namedtuple("Record", ("raw", "t", "p", "ts", "ps", "noise", "left", "quantum", "step"))
# low, high [bar]; ripple (amplitude, Hz) or None; plateau: has one; t10, t90 or None; mean_t, mean_p: averaged over a ripple
Shape = namedtuple("Shape", ("low", "high", "ripple", "plateau", "t10", "t90", "mean_t", "mean_p", "end", "onset"))


def rough_rise(t: list, p: list, low: float, high: float) -> float:
    """Return a first estimate of the 10 to 90 % time, at least one step."""
    t90 = first_rise(t, p, low + 0.9 * (high - low))
    if t90 is None:
        return max(usual_step(t), 0.1 * (t[-1] - t[0]))
    last = last_point(t, t90)
    while last > 0 and p[last] > low + 0.1 * (high - low):
        last -= 1
    return max(t90 - t[last], usual_step(t))


def prepare(t: list, p: list) -> Record:
    """Return the record without spikes, and smoothed as far as its noise asks and its rise allows."""
    clean = drop_spikes(drop_spikes(p))  # twice: of two spikes a sample apart the first pass leaves one
    step, noise = usual_step(t), noise_sd(t, p)
    ranked = sorted(clean)
    low, high = ranked[len(ranked) // 50], ranked[len(ranked) - 1 - len(ranked) // 50]
    wanted = step * (noise / max(NOISE_WANTED * (high - low), 1e-9)) ** 2
    width = min(wanted, SMOOTH_SHARE * rough_rise(t, clean, low, high))
    ts, ps = smooth(t, clean, width) if width > 2.0 * step else (t, clean)
    left = noise if ts is t else noise_sd(ts, ps)
    return Record(p, t, clean, ts, ps, noise, left, value_quantum(clean), step)


def value_quantum(p: list) -> float:
    """Return the step of a coarse converter: the least difference between flat stretches; 0 where the record has few."""
    flats, run = [], 1
    for i in range(1, len(p)):
        run = run + 1 if p[i] == p[i - 1] else 1
        if run == FLAT_POINTS:
            flats.append(p[i])
    if len(flats) < FEWEST_FLATS:
        return 0.0
    steps = [abs(flats[i + 1] - flats[i]) for i in range(len(flats) - 1) if flats[i + 1] != flats[i]]
    return median(steps) if steps else 0.0


def plateau_part(record: Record, low: float, high: float) -> tuple:
    """Return (first, last) points of the smoothed record between the end of the rise and the fall below the middle."""
    t90 = first_rise(record.ts, record.ps, low + 0.9 * (high - low))
    if t90 is None:
        return 0, 0
    last, middle = last_point(record.ts, t90), low + 0.5 * (high - low)
    while last + 1 < len(record.ts) and record.ps[last + 1] > middle:
        last += 1
    settling = min(0.5 * rough_rise(record.ts, record.ps, low, high), (record.ts[last] - t90) / 3.0)
    return last_point(record.ts, t90 + settling), last


def find_levels(record: Record) -> tuple:
    """Return (low, high, ripple or None, times and values averaged over whole ripples)."""
    low, high = state_levels(record.ps, weights_of(record.ts))
    first, last = plateau_part(record, low, high)
    ripple = find_ripple(record.ts[first : last + 1], record.ps[first : last + 1], record.left, 0.002 * (high - low))
    if ripple is None:
        return low, high, None, record.ts, record.ps
    mean_t, mean_p = smooth(record.t, record.p, 1.0 / ripple[1])
    low, high = state_levels(mean_p, weights_of(mean_t))
    return low, high, ripple, mean_t, mean_p


def settle_levels(record: Record, found: tuple) -> tuple:
    """Return (low, high, has a plateau, end of the plateau) with the levels taken from the stretches that belong to them."""
    low, high, _, mean_t, mean_p = found
    band = PLATEAU_BAND * (high - low) + 2.0 * record.left
    inside, weights = [i for i in range(len(mean_p)) if abs(mean_p[i] - high) <= band], weights_of(mean_t)
    t90 = first_rise(mean_t, mean_p, low + 0.9 * (high - low))
    before = [v for x, v in zip(mean_t, mean_p) if t90 is not None and x < t90 and abs(v - low) <= band]
    narrow = LEVEL_BAND * (high - low) + 3.0 * record.left  # leaves out most of what still creeps towards a level
    if len(before) >= 3:  # the rest before the rise, not what comes after cranking
        low = around(before, [1.0] * len(before), median(before), narrow)
    if t90 is None or len(inside) < 3:
        return low, high, False, mean_t[-1]
    end = mean_t[inside[-1]]
    after = [i for i in inside if mean_t[i] >= t90]
    high = around([mean_p[i] for i in after], [weights[i] for i in after], high, narrow)
    lasts = sum([weights[i] for i in after])
    wanted = max(LEAST_PLATEAU_S, PLATEAU_SHARE * rough_rise(mean_t, mean_p, low, high), 3.0 * record.step)
    return low, high, lasts >= wanted, end


def find_onset(record: Record, low: float, high: float) -> float | None:
    """Return when the pressure leaves its rest, None where it never lies there.

    Two early levels are passed; through them either a straight line or a parabola leads back to the rest, whichever lies
    nearer a third level between them.
    """
    span = high - low
    least = max(0.02 * span, 4.0 * record.left + record.quantum)
    if least > 0.3 * span:
        return None
    levels = [least, 2.0 * least, 4.0 * least]
    found = [settled_pass(record.ts, record.ps, low + level, 0.05, 0.25 * least) for level in levels]
    passes = [x for x in found if x is not None]
    if len(passes) < len(levels):
        return None
    first, middle, last = passes
    straight = first + (last - first) * (levels[1] - levels[0]) / (levels[2] - levels[0])
    roots = [math.sqrt(level) for level in levels]
    bent = first + (last - first) * (roots[1] - roots[0]) / (roots[2] - roots[0])
    if abs(middle - straight) <= abs(middle - bent):
        return first - (last - first) * levels[0] / (levels[2] - levels[0])
    return first - (last - first) * roots[0] / (roots[2] - roots[0])


def settled_pass(t: list, p: list, level: float, hold_s: float, slack: float, first: int = 0) -> float | None:
    """Return the first upward pass of a level after which the values stay above level - slack for hold_s, else None."""
    i = first
    while i < len(p) - 1:
        if not p[i] < level <= p[i + 1]:
            i += 1
            continue
        moment, k = between(t, p, i, level), i + 1
        while k < len(p) and t[k] <= moment + hold_s and p[k] > level - slack:
            k += 1
        if k >= len(p) or t[k] > moment + hold_s:
            return moment
        i = k
    return None


def read_shape(record: Record) -> Shape:
    """Return levels, ripple, plateau and the 10 and 90 % instants of a record."""
    found = find_levels(record)
    ripple, mean_t, mean_p = found[2], found[3], found[4]
    low, high, plateau, end = settle_levels(record, found)
    slack = 2.0 * record.left + 0.001 * (high - low)
    t10 = settled_pass(mean_t, mean_p, low + 0.1 * (high - low), 0.05, slack)
    t90 = settled_pass(mean_t, mean_p, low + 0.9 * (high - low), 0.05, slack)
    onset = find_onset(record, low, high)
    return Shape(low, high, ripple, plateau, t10, t90, mean_t, mean_p, end, onset)


def fit_window(record: Record, shape: Shape) -> float:
    """Return half the width of the fit around a crossing [s]."""
    rise = shape.t90 - shape.t10 if shape.t10 is not None and shape.t90 is not None else 0.1 * (record.t[-1] - record.t[0])
    half = FIT_SHARE * rise
    if shape.ripple is not None:
        half = min(half, RIPPLE_SHARE / shape.ripple[1])
    return half


def fit_crossing(record: Record, moment: float, level: float, half_s: float, blur: float) -> tuple | None:
    """Return (instant, its standard uncertainty) from a parabola around moment, None where none fits.

    The window is halved while the points lie further from the parabola than their noise explains (a corner is in it).
    """
    for _ in range(HALVINGS):
        first, last = last_point(record.t, moment - half_s) + 1, last_point(record.t, moment + half_s) + 1
        if last - first < FEWEST_TO_FIT:
            return None
        t, p = record.t[first:last], record.p[first:last]
        fit = fit_parabola(t, p, moment)
        if fit is None or fit[1] <= 0.0:
            return None
        a, b, c = fit
        x = (level - a) / b
        x = (level - a - c * x * x) / b  # one step of the root's series: the bend is small within the window
        rest = [v - a - b * (m - moment) - c * (m - moment) ** 2 for m, v in zip(t, p)]
        off = math.sqrt(sum([r * r for r in rest]) / (last - first))
        if off <= MISFIT * blur + MISFIT_SHARE * b * half_s and abs(x) <= half_s:
            steps = 2.0 * half_s * b / record.quantum if record.quantum else last - first
            return moment + x, 1.5 * max(blur, off) / math.sqrt(max(1.0, min(last - first, steps))) / b
        half_s *= 0.5
        if abs(x) <= half_s:
            moment += x
    return None


def place_crossing(record: Record, moment: float, level: float, half_s: float) -> tuple:
    """Return (instant, its standard uncertainty, gap between the points around it) of a crossing found near moment."""
    i = crossing_pair(record, moment, level, half_s)
    gap = record.t[i + 1] - record.t[i]
    first, last = last_point(record.t, moment - half_s) + 1, last_point(record.t, moment + half_s) + 1
    near = noise_sd(record.t[first:last], record.raw[first:last]) if last - first > ENOUGH_FOR_NOISE else record.noise
    blur = max(near, record.quantum / math.sqrt(12.0))
    fitted = fit_crossing(record, moment, level, half_s, blur)
    if fitted is not None:
        spacing = (record.t[last - 1] - record.t[first]) / max(last - 1 - first, 1)
        return fitted[0], combine_uncertainty([fitted[1], resolution(spacing)]), gap
    slope = (record.p[i + 1] - record.p[i]) / gap if gap > 0.0 else 0.0
    u = blur / slope if slope > 0.0 else half_s
    at = between(record.t, record.p, i, level) if record.p[i] < level <= record.p[i + 1] else moment
    return at, combine_uncertainty([u, resolution(gap)]), gap


def crossing_pair(record: Record, moment: float, level: float, half_s: float) -> int:
    """Return the point before the upward pass nearest to a moment, within half_s; the point at the moment if none."""
    here = min(last_point(record.t, moment), len(record.t) - 2)
    first, last = last_point(record.t, moment - half_s), min(last_point(record.t, moment + half_s), len(record.t) - 2)
    found = [i for i in range(first, last + 1) if record.p[i] < level <= record.p[i + 1]]
    best = here
    for i in found:
        if best == here or abs(i - here) < abs(best - here):
            best = i
    return best


def reach_level(record: Record, shape: Shape, target: float, begin: float) -> tuple:
    """Return (instant or None, its standard uncertainty, gap around it, warnings) at which a target is reached for good."""
    ripple_s = 0.0 if shape.ripple is None else 1.0 / shape.ripple[1]
    hold = max(HOLD_S, HOLD_RIPPLES * ripple_s)
    slack = 3.0 * record.left + 0.25 * record.quantum
    first = last_point(record.ts, begin)
    moment, warnings = settled_pass(record.ts, record.ps, target, hold, slack, first), []
    if shape.ripple is not None:
        smooth_moment = settled_pass(shape.mean_t, shape.mean_p, target, hold, slack, last_point(shape.mean_t, begin))
        amplitude = shape.ripple[0]
        if smooth_moment is None:
            return None, None, 0.0, []
        if moment is None or moment > smooth_moment + ripple_s:
            u = combine_uncertainty([0.5 * ripple_s, resolution(record.step)])
            text = f"A ripple of {amplitude:.3g} bar dips below {target:g} bar again and again; its mean is timed."
            return smooth_moment, u, record.step, [text]
        if abs(moment - smooth_moment) > COARSE_SHARE * max(moment - begin, 0.0):
            text = (
                f"A ripple of {amplitude:.3g} bar moves the time to {target:g} bar by {abs(moment - smooth_moment):.2g} s."
            )
            warnings.append(text)
    if moment is None:
        return None, None, 0.0, []
    at, u, gap = place_crossing(record, moment, target, fit_window(record, shape))
    late = settled_pass(record.ts, record.ps, target, hold, slack / 3.0, first)
    latest = at if late is None else place_crossing(record, late, target, fit_window(record, shape))[0]
    if latest - at > max(COARSE_SHARE * (at - begin), COARSE_STEPS * record.step):
        warnings.append(
            f"The pressure lingers at {target:g} bar from {at - begin:.3g} to {latest - begin:.3g} s after the start."
        )
        u = combine_uncertainty([u, resolution(2.0 * (latest - at))])
        at = latest if shape.ripple is not None else at  # a ripple dips for real, noise only seems to
    elif shape.ripple is not None:
        above = settled_pass(record.ts, record.ps, target + slack / 3.0, hold, 0.0, first)
        if above is None or above - at > max(COARSE_SHARE * (at - begin), COARSE_STEPS * record.step):
            warnings.append(f"A trough of the ripple comes close to {target:g} bar after it was reached.")
    return at, u, gap, warnings


def steepest(record: Record, shape: Shape) -> float | None:
    """Return the greatest slope of a line fitted over a window of SLOPE_S, four steps at least [bar/s]."""
    if shape.t10 is None or shape.t90 is None:
        return None
    rise = max(shape.t90 - shape.t10, record.step)
    width = max(min(SLOPE_S, 0.2 * rise), 4.0 * record.step)
    first = max(last_point(record.t, shape.t10 - 0.25 * rise), 0)
    last = last_point(record.t, shape.t90 + 0.1 * rise)
    best, k = None, first
    hop = max(1, (last - first) // 200)
    for i in range(first, last, hop):
        k = max(k, i)
        while k + 1 < len(record.t) and record.t[k + 1] <= record.t[i] + width:
            k += 1
        if k - i >= 3 and record.t[k] - record.t[i] >= 0.5 * width:
            _, slope = fit_line(record.t[i : k + 1], record.p[i : k + 1])
            best = slope if best is None or slope > best else best
    return best


def plateau_drift(shape: Shape) -> float:
    """Return how much the pressure changes over the plateau, its last third less its first [bar]."""
    first = last_point(shape.mean_t, shape.t90) if shape.t90 is not None else 0
    part = shape.mean_p[first : last_point(shape.mean_t, shape.end) + 1]
    third = len(part) // 3
    return mean(part[len(part) - third :]) - mean(part[third : 2 * third]) if third else 0.0
