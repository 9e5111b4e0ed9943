"""Generated sounds of a starter that turns an engine, in a workshop; the truth is known. All invented.

A gear whine and a rush of noise, louder and slower at each compression; cylinders differ; the speed runs up from rest and
wanders a little. The workshop: hiss that falls with frequency, a hum, talk-like swells, and a few bangs.
"""

from typing import NamedTuple

import numpy as np
from scipy.signal import butter, sosfilt

RATE_HZ = 16000
FRAME_HZ = 200
ATTACK_S = 0.02
RUN_DOWN_S = 0.06
TEETH = 120  # of the gear on the flywheel


class Sound(NamedTuple):
    wave: np.ndarray
    onset_s: float
    end_s: float
    rpm: float  # mean of the settled part


def run_turns(rpm: float, seconds: float, rng: np.random.Generator) -> np.ndarray:
    """Turns of the crankshaft at each sample: runs up with a lag of 0.1 s, wanders by one per cent."""
    t = np.arange(int(seconds * RATE_HZ)) / RATE_HZ
    wander = 1.0 + 0.01 * np.sin(2 * np.pi * (0.4 * t + rng.uniform()))
    speed = rpm / 60.0 * (1.0 - np.exp(-t / 0.1)) * wander
    return np.cumsum(speed) / RATE_HZ


def crank_sound(rpm: float, cylinders: int, seconds: float, rng: np.random.Generator) -> tuple[np.ndarray, float]:
    """Return (wave, mean settled speed in rpm)."""
    turns = run_turns(rpm, seconds, rng)
    beats = turns * cylinders / 2.0 + rng.uniform()
    strength = 1.0 + rng.uniform(-0.2, 0.2, cylinders)
    squeeze = 0.5 + 0.5 * np.cos(2 * np.pi * beats)
    bump = 0.2 * np.cos(4 * np.pi * beats + rng.uniform(0, 2))
    depth = rng.uniform(0.35, 0.65)
    loud = np.clip(
        1.0 + depth * (strength[np.floor(beats + 0.5).astype(int) % cylinders] * (2 * squeeze - 1) + bump), 0.05, None
    )
    whine = sum(np.sin(2 * np.pi * TEETH * k * turns + k) / k for k in (1, 2, 3))
    hiss = sosfilt(butter(2, [300, 3000], "bandpass", fs=RATE_HZ, output="sos"), rng.standard_normal(len(turns)))
    wave = loud * (whine / np.std(whine) + hiss / np.std(hiss))
    t = np.arange(len(wave)) / RATE_HZ
    wave *= np.clip(t / ATTACK_S, 0, 1) * np.clip((seconds - t) / RUN_DOWN_S, 0, 1)
    settled = slice(int(0.6 * RATE_HZ), int((seconds - 0.1) * RATE_HZ))
    return wave, 60.0 * (turns[settled][-1] - turns[settled][0]) / (len(turns[settled]) / RATE_HZ)


def workshop(seconds: float, rng: np.random.Generator, bangs: int) -> np.ndarray:
    count = int(seconds * RATE_HZ)
    t = np.arange(count) / RATE_HZ
    hiss = sosfilt(butter(1, 400, "lowpass", fs=RATE_HZ, output="sos"), rng.standard_normal(count))
    talk = sosfilt(butter(2, [200, 1500], "bandpass", fs=RATE_HZ, output="sos"), rng.standard_normal(count))
    talk *= 1.0 + 0.5 * np.sin(2 * np.pi * (rng.uniform(0.5, 1.5) * t + rng.uniform()))
    hum = sum(np.sin(2 * np.pi * 50 * k * t + rng.uniform(0, 6)) / k for k in (2, 3, 5))
    wave = hiss / np.std(hiss) + 0.5 * talk / np.std(talk) + 0.7 * hum
    wave /= np.std(wave)
    for at in rng.uniform(0, seconds - 0.1, bangs):
        first = int(at * RATE_HZ)
        ring = np.exp(-np.arange(int(0.06 * RATE_HZ)) / (0.012 * RATE_HZ))
        wave[first : first + len(ring)] += 5.0 * ring * rng.standard_normal(len(ring))
    return wave


def high_pass(wave: np.ndarray) -> np.ndarray:
    return sosfilt(butter(2, 150, "highpass", fs=RATE_HZ, output="sos"), wave)


def make_sound(rpm: float, cylinders: int, snr_db: float, seed: int, bangs: int = 0, crank_s: float = 4.0) -> Sound:
    """One burst of cranking at a ratio of sound to noise power (both above 150 Hz); starts between 1.3 and 1.7 s."""
    rng = np.random.default_rng(seed)
    before = rng.uniform(1.3, 1.7)
    crank, settled_rpm = crank_sound(rpm, cylinders, crank_s, rng)
    wave = workshop(before + crank_s + 1.2, rng, bangs)
    first = int(before * RATE_HZ)
    loud = np.std(high_pass(wave)) / np.std(high_pass(crank)) * 10 ** (snr_db / 20)
    wave[first : first + len(crank)] += loud * crank
    return Sound(0.5 * wave / np.max(np.abs(wave)), first / RATE_HZ, first / RATE_HZ + crank_s, settled_rpm)


def levels_of(wave: np.ndarray) -> list[float]:
    """What the phone makes of it: a high pass at 150 Hz, then the root mean square of each 5 ms."""
    passed, size = high_pass(wave), RATE_HZ // FRAME_HZ
    frames = passed[: len(passed) // size * size].reshape(-1, size)
    return [round(float(v), 5) for v in np.sqrt(np.mean(frames**2, axis=1))]
