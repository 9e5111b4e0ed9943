"""Seeded rises with the truth known: analytic responses, recorded at 50 Hz to 50 kHz with all that spoils a record.

The truth is the first instant after which the undisturbed signal (its ripple included, noise, spikes and gaps not) stays at
or above the target for the hold time; where the ripple dips below the target for good, that of the signal without ripple.
`python -m tests.trace.rises [COUNT [FIRST [POINTS]]]` prints how the engine does, with as many points as the command takes.
"""

import json
import math
import sys
from collections.abc import Callable
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from webapp.engine.trace import read_trace
from webapp.engine.transition import HOLD_RIPPLES, HOLD_S
from webapp.library.loader import load_catalogue
from webapp.tracefile.buckets import MOST_POINTS, Buckets, merge

Array = NDArray[np.float64]
KINDS = ("first order", "second order", "ramp", "two stages", "s-shaped")
ACCURACY = next(row for row in load_catalogue()["instruments"] if row["id"] == "trace")
POINTS = 2000  # fewer than the command takes, about what a phone does


class Rise(NamedTuple):
    kind: str
    rate_hz: float
    t: Array
    p: Array
    battery: Array | None
    start_s: float
    target_bar: float
    seconds: float | None  # None: never reached
    ripple_bar: float
    noise_bar: float


def second_order(x: Array, wn: float, zeta: float) -> Array:
    """Step response, 0 < zeta < 1."""
    damped = wn * math.sqrt(1.0 - zeta * zeta)
    body = np.exp(-zeta * wn * x) * (np.cos(damped * x) + zeta * wn / damped * np.sin(damped * x))
    return 1.0 - body


def make_shape(rng: np.random.Generator, kind: str) -> Callable[[Array], Array]:
    """Return a rise from 0 to 1 over the time since it began."""
    tau = rng.uniform(0.1, 0.5)
    if kind == "first order":
        return lambda x: 1.0 - np.exp(-x / tau)
    if kind == "second order":
        zeta = rng.uniform(0.45, 0.95)
        return lambda x: second_order(x, 1.5 / tau, zeta)
    if kind == "ramp":
        return lambda x: np.minimum(x / (3.0 * tau), 1.0)
    if kind == "s-shaped":
        return lambda x: 1.0 - (1.0 + 2.0 * x / tau) * np.exp(-2.0 * x / tau)
    share, pause = rng.uniform(0.25, 0.55), rng.uniform(0.3, 0.7)
    late = 2.0 * tau + pause
    return lambda x: share * (1 - np.exp(-3 * x / tau)) + (1 - share) * (1 - np.exp(-np.maximum(x - late, 0.0) / tau))


def settled(t: Array, p: Array, target: float, hold_s: float) -> float | None:
    """Return the first upward pass after which the signal stays for hold_s, on a dense grid."""
    low = np.flatnonzero(p < target)
    ups = [i for i in low if i + 1 < len(p) and p[i + 1] >= target]
    for i in ups:
        nexts = low[np.searchsorted(low, i + 1) :]
        if not len(nexts) or t[nexts[0]] > t[i] + hold_s:
            return float(t[i] + (t[i + 1] - t[i]) * (target - p[i]) / (p[i + 1] - p[i]))
    return None


def true_seconds(
    signal: Callable[[Array, float], Array], start: float, end: float, target: float, ripple: float, hz: float
) -> float | None:
    dense = np.linspace(start, end, 40_001)
    hold = max(HOLD_S, HOLD_RIPPLES / hz if ripple else 0.0)
    found = settled(dense, signal(dense, ripple), target, hold)
    smooth = settled(dense, signal(dense, 0.0), target, hold)
    if ripple and smooth is not None and (found is None or found > smooth + 1.0 / hz):
        found = smooth
    return None if found is None else found - start


def spoil(rng: np.random.Generator, t: Array, p: Array, span: float, dirt: dict) -> tuple[Array, Array]:
    """Return a record with noise, quantisation, single-sample spikes and a gap."""
    p = p + rng.normal(0.0, 1.0, len(p)) * dirt["noise"]
    if dirt["step"]:
        p = np.round(p / dirt["step"]) * dirt["step"]
    spikes = rng.choice(len(p) // 2 - 2, size=min(dirt["spikes"], len(p) // 20), replace=False) * 2 + 1
    p[spikes] += rng.choice([-1.0, 1.0], len(spikes)) * rng.uniform(0.2, 2.0, len(spikes)) * span
    if dirt["gap_s"]:
        begin = rng.uniform(t[0], t[-1] - dirt["gap_s"])
        keep = (t < begin) | (t > begin + dirt["gap_s"])
        t, p = t[keep], p[keep]
    return t, p


def make_rise(seed: int) -> Rise:
    rng = np.random.default_rng(seed)
    kind, rate = KINDS[seed % len(KINDS)], float(np.exp(rng.uniform(math.log(50), math.log(50_000))))
    rest, steady = rng.uniform(-3.0, 30.0), rng.uniform(200.0, 600.0)
    start, dead, hz, phase = rng.uniform(0.3, 0.8), rng.uniform(0.0, 0.2), rng.uniform(5.0, 14.0), rng.uniform(0.0, 6.28)
    span, shape = steady - rest, make_shape(rng, kind)
    ripple = float(rng.choice([0.0, rng.uniform(0.005, 0.03)])) * span
    dirt = {
        "noise": float(rng.choice([0.0, rng.uniform(0.0005, 0.01)])) * span, "step": float(rng.choice([0.0, 0.0, 0.5, 2.0])),
        "spikes": int(rng.integers(0, 8)), "gap_s": float(rng.choice([0.0, 0.0, 0.0, rng.uniform(0.01, 0.1)])),
    }  # fmt: skip

    def signal(t: Array, amplitude: float) -> Array:
        since = np.maximum(t - start - dead, 0.0)
        grown = shape(since)
        return rest + span * grown + amplitude * np.sin(2 * np.pi * hz * since + phase) * np.clip(grown, 0, 1)

    end = start + dead + 4.0
    t = np.arange(rng.uniform(0, 1 / rate), end, 1 / rate)
    target = rest + span * rng.uniform(0.3, 0.92)
    t2, p = spoil(rng, t, signal(t, ripple), span, dirt)
    battery = 12.6 - np.where(
        t2 < start, 0.0, 2.2 + 2.0 * np.exp(-(t2 - start) / 0.06) + 0.3 * np.cos(2 * np.pi * hz * (t2 - start))
    )
    battery = battery + rng.normal(0.0, 0.02, len(t2))
    seconds = true_seconds(signal, start, end, target, ripple, hz)
    return Rise(kind, rate, t2, p, battery if seed % 4 else None, start, target, seconds, ripple, dirt["noise"])


def reduce(t: Array, p: Array, battery: Array | None, most: int) -> list[list]:
    columns = [t.tolist(), p.tolist()] + ([battery.tolist()] if battery is not None else [])
    buckets = Buckets(len(columns), most)
    buckets.add(columns)
    return buckets.finish()


def read_rise(rise: Rise, most: int = POINTS) -> dict[str, Any]:
    """Return the engine's answer, with as many closer looks as it asks for (two at most)."""
    points, answer = reduce(rise.t, rise.p, rise.battery, most), {"look_closer": None}
    for look in range(3):
        request = {
            "t": points[0], "p": points[1], "samples": len(rise.t), "sample_interval_s": 1 / rise.rate_hz,
            "targets": [rise.target_bar], "cylinders": 4,
        }  # fmt: skip
        request |= {"battery_v": points[2]} if rise.battery is not None else {"start_s": rise.start_s}
        answer = read_trace(request, ACCURACY)
        if not answer["look_closer"] or look == 2:
            break
        begin, end = answer["look_closer"]
        keep = (rise.t >= begin) & (rise.t <= end)
        inner = reduce(rise.t[keep], rise.p[keep], None if rise.battery is None else rise.battery[keep], most)
        points = merge(points, inner, begin, end)
    return answer


def allowed_s(rise: Rise) -> float:
    """Return 1 % or two samples, whichever is larger."""
    return max(0.01 * (rise.seconds or 0.0), 2.0 / rise.rate_hz)


def is_met(rise: Rise, answer: dict) -> bool:
    found = answer["time_to"][0]["seconds"]
    if found is None or rise.seconds is None:
        return found is None and rise.seconds is None
    return abs(found - rise.seconds) <= allowed_s(rise)


def main(count: int, first: int = 0, most: int = MOST_POINTS) -> None:
    met = covered = warned = 0
    for seed in range(first, first + count):
        rise = make_rise(seed)
        answer = read_rise(rise, most)
        row = answer["time_to"][0]
        good = is_met(rise, answer)
        met += good
        warned += bool(answer["warnings"])
        if row["seconds"] is not None and rise.seconds is not None:
            covered += abs(row["seconds"] - rise.seconds) <= 2.0 * row["standard_uncertainty"]
        if not good:
            said = answer["warnings"] or "NO WARNING"
            print(seed, rise.kind, f"{rise.rate_hz:.0f} Hz", rise.seconds, row["seconds"], row["standard_uncertainty"], said)
            print(f"    ripple {rise.ripple_bar:.1f} noise {rise.noise_bar:.2f} target {rise.target_bar:.0f}")
    print(json.dumps({"traces": count, "met": met, "within_2u": covered, "with_warning": warned}))


if __name__ == "__main__":
    main(*(int(word) for word in sys.argv[1:] or ["1000"]))
