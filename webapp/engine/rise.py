"""What a timed rise and a timed fall of the rail pressure say: flow into the rail, turns of the crankshaft, leak at rest.

Rules for this file: bar, s and mL/min outside, SI inside; figures only; nothing here fails a part.
Method: the fuel that a rise takes follows from the volume of the rail and the stiffness of the fuel; over its time it is
the mean of delivery less leaks. Counted in turns of the crankshaft, a slow starter no longer looks like a weak pump. The
time in which the pressure halves gives the leak of the standing engine, taken as a gap.
Sources: hydraulics.py; volume and temperature are judgement and said so in the assumptions.
"""

from .hydraulics import (
    BAR_PA,
    FUEL_TEMPERATURE_C,
    ML_MIN_M3_S,
    MODULUS_GROWTH,
    SECONDS_IN_MINUTE,
    bulk_modulus,
    crank_turns,
    fill_volume,
    halving_leak,
    resting_modulus,
)

RAIL_VOLUME_ML = 30.0  # judgement: rail, pipes and pump outlet of a four-cylinder engine, 20 to 40 mL
ML_M3, MM3_M3 = 1e-6, 1e-9
STRENGTH_AT_BAR = 100.0
MEAN_OF_HALVING = 0.75  # the pressure falls from 1 to 1/2; the fuel's stiffness is taken in the middle


def read_rise(
    target_bar: float, seconds: float, u_s: float, crank_rpm: float | None, limit_rpm: float | None,
    temperature_c: float = FUEL_TEMPERATURE_C, volume_ml: float = RAIL_VOLUME_ML,
) -> dict:  # fmt: skip
    """Return what a rise from 0 to target_bar in seconds (standard uncertainty u_s) says.

    Inputs: seconds > 0; crank_rpm > 0 read and limit_rpm > 0 the least that it should be, None where unknown.
    Returns: target_bar, seconds, net_ml_min (mean flow into the rail: delivery less leaks), net_u_ml_min (of the timing
    alone), and per turn of the crankshaft turns, bar_per_turn, net_mm3_per_turn, at_limit_speed_s (the same turns at the
    least speed), None without a speed.
    Valid when: the pump pumped from the start; a pause before makes the flow a lower figure.
    Example: 285 bar in 1.4 s at 240 rpm: 26.9 mL/min, 5.6 turns, 50.9 bar a turn.
    """
    volume = fill_volume(target_bar * BAR_PA, volume_ml * ML_M3, resting_modulus(temperature_c), MODULUS_GROWTH)
    net = volume / seconds / ML_MIN_M3_S
    turns = crank_turns(seconds, crank_rpm) if crank_rpm is not None else None
    return {
        "target_bar": target_bar,
        "seconds": seconds,
        "net_ml_min": net,
        "net_u_ml_min": net * u_s / seconds,
        "turns": turns,
        "bar_per_turn": None if turns is None else target_bar / turns,
        "net_mm3_per_turn": None if turns is None else volume / MM3_M3 / turns,
        "at_limit_speed_s": None if turns is None or limit_rpm is None else turns * SECONDS_IN_MINUTE / limit_rpm,
    }


def read_decay(
    half_s: float, u_s: float, start_bar: float | None, temperature_c: float = FUEL_TEMPERATURE_C,
    volume_ml: float = RAIL_VOLUME_ML,
) -> dict:  # fmt: skip
    """Return the leak of the standing engine from the time half_s > 0 in which the pressure halves.

    Inputs: u_s standard uncertainty of the timing [s]; start_bar pressure at its start, None where not read.
    Returns: half_s, ml_min_per_100_bar (strength of the leak), leak_ml_min and leak_u_ml_min at start_bar (None without).
    Valid when: the leak is a gap and the control unit does not open a valve at key off. Example: 2 s from 300 bar: 12.7.
    """
    at_pa = MEAN_OF_HALVING * (STRENGTH_AT_BAR if start_bar is None else start_bar) * BAR_PA
    modulus = bulk_modulus(at_pa, temperature_c)
    strength = halving_leak(half_s, STRENGTH_AT_BAR * BAR_PA, volume_ml * ML_M3, modulus) / ML_MIN_M3_S
    leak = None if start_bar is None else strength * start_bar / STRENGTH_AT_BAR
    return {
        "half_s": half_s,
        "ml_min_per_100_bar": strength,
        "leak_ml_min": leak,
        "leak_u_ml_min": None if leak is None else leak * u_s / half_s,
    }
