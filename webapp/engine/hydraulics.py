"""Hydraulics of the rail: how pressure rises, holds and falls in a closed volume of fuel that leaks.

Rules for this file: SI throughout (Pa, m3, m3/s, s, Pa s), temperatures in degC; no limits and no trade.
Method: mass balance of the rail, dp/dt = (K/V) sum(Q), with K the bulk modulus of the fuel and V the volume of rail and
pipes. A gap leaks in proportion to pressure (laminar), a hole with its square root (turbulent); constant K gives the
closed forms for both, K = K0 + b p those for a constant flow.
Sources: continuity, the definition of the bulk modulus, the orifice equation and annular clearance flow are textbook
matter, written from memory; every closed form is checked against a numerical solution of the balance (scipy 1.17.1).
Symbols: p pressure, Q flow, K bulk modulus, V volume, C = V/K capacitance, R = dp/Q resistance, tau = R C.
"""

import math

from .numeric import mean

BAR_PA = 1e5
ML_MIN_M3_S = 1e-6 / 60.0
SECONDS_IN_MINUTE = 60.0

# Stiffness of diesel at pressure 0 and 40 degC: judgement, about 15 % either way. Stiffer than n-dodecane (1.10 GPa there,
# computed with CoolProp 8.0.0) since diesel is denser; air in the fuel makes it softer. A maker's figure replaces it.
MODULUS_PA = 1.2e9
# Growth with pressure (no unit) and fall with temperature: judgement, shaped after n-dodecane (11.4 and -8.1 MPa/K).
MODULUS_GROWTH = 12.0
MODULUS_FALL_PA_K = 8e6
FUEL_TEMPERATURE_C = 40.0  # judgement: a warm engine that has been cranked for some time


def resting_modulus(temperature_c: float = FUEL_TEMPERATURE_C) -> float:
    """Return K0 [Pa], the bulk modulus of the fuel at pressure 0.

    Valid when: -20 to 120 degC. Source: judgement, see the constants; the slope is that of n-dodecane.
    """
    return MODULUS_PA - MODULUS_FALL_PA_K * (temperature_c - FUEL_TEMPERATURE_C)


def bulk_modulus(pressure_pa: float, temperature_c: float = FUEL_TEMPERATURE_C) -> float:
    """Return K = K0 + b p [Pa] of the fuel at a pressure [Pa] and a temperature [degC], for fast changes (adiabatic).

    Valid when: 0 to 200 MPa, -20 to 120 degC. Source: judgement, shape after n-dodecane. Example: 100 MPa, 40 degC: 2.4 GPa.
    """
    return resting_modulus(temperature_c) + MODULUS_GROWTH * pressure_pa


def capacitance(volume_m3: float, modulus_pa: float) -> float:
    """Return C = V/K [m3/Pa], the volume that one pascal takes. Example: 30 cm3 at 1.5 GPa, 2 mm3/bar."""
    return volume_m3 / modulus_pa


def laminar_resistance(pressure_pa: float, flow_m3_s: float) -> float:
    """Return R = dp/Q [Pa s/m3] of a gap. Example: 50 mL/min at 1000 bar, 1.2e14."""
    return pressure_pa / flow_m3_s


def laminar_flow(pressure_pa: float, resistance: float) -> float:
    """Return Q = dp/R [m3/s] through a gap."""
    return pressure_pa / resistance


def orifice_flow(coefficient: float, diameter_m: float, pressure_pa: float, density_kg_m3: float) -> float:
    """Return Q = Cd A sqrt(2 dp/rho) [m3/s] through a round hole.

    Valid when: turbulent, no cavitation; coefficient Cd 0.6 to 0.9. Example: 0.10 mm, 0.7, 1000 bar, 820: 162.9098 mL/min.
    """
    area = 0.25 * math.pi * diameter_m**2
    return coefficient * area * math.sqrt(2.0 * pressure_pa / density_kg_m3)


def clearance_flow(
    diameter_m: float, gap_m: float, length_m: float, viscosity_pa_s: float, pressure_pa: float, eccentricity: float = 0.0
) -> float:
    """Return Q = pi d h^3 dp (1 + 1.5 e^2)/(12 mu L) [m3/s] along a plunger in its bore.

    Inputs: gap_m radial gap h; eccentricity e 0 (centred) to 1 (touching, 2.5 times the flow).
    Valid when: laminar, stiff parts, one viscosity mu. Example: 4 mm, 1.5 um, 15 mm, 2 mPa s, 1000 bar: 0.706858 mL/min.
    """
    shape = 1.0 + 1.5 * eccentricity**2
    return math.pi * diameter_m * gap_m**3 * pressure_pa * shape / (12.0 * viscosity_pa_s * length_m)


def laminar_rise(time_s: float, flow_m3_s: float, resistance: float, capacitance_m3_pa: float) -> float:
    """Return p = Qp R (1 - exp(-t/tau)) [Pa]: constant pump flow Qp against a gap, from 0, K constant."""
    return flow_m3_s * resistance * -math.expm1(-time_s / (resistance * capacitance_m3_pa))


def laminar_rise_time(target_pa: float, flow_m3_s: float, resistance: float, capacitance_m3_pa: float) -> float | None:
    """Return the time [s] to reach a pressure as in laminar_rise; None where the pump cannot reach it (Qp R <= target).

    Example: 54 mL/min, R 1.2e14, C 2e-14: 250 bar after 0.631897 s; with a leak ten times as large, never.
    """
    end_pa = flow_m3_s * resistance
    if end_pa <= target_pa:
        return None
    return resistance * capacitance_m3_pa * -math.log((end_pa - target_pa) / end_pa)


def free_rise_rate(flow_m3_s: float, capacitance_m3_pa: float) -> float:
    """Return dp/dt = Q/C [Pa/s] without a leak. Example: 54 mL/min into 2 mm3/bar, 450 bar/s."""
    return flow_m3_s / capacitance_m3_pa


def laminar_decay(start_pa: float, time_s: float, tau_s: float) -> float:
    """Return p = p0 exp(-t/tau) [Pa] through a gap, K constant. Example: 1600 bar, 1 s, tau 2.4 s: 1054.785 bar."""
    return start_pa * math.exp(-time_s / tau_s)


def laminar_decay_time(start_pa: float, end_pa: float, tau_s: float) -> float:
    """Return the time [s] from one pressure to a lower one through a gap. Example: 1600 to 250 bar, tau 2.4 s: 4.455 s."""
    return tau_s * math.log(start_pa / end_pa)


def halving_leak(half_s: float, pressure_pa: float, volume_m3: float, modulus_pa: float) -> float:
    """Return the leak [m3/s] at a pressure, of a rail whose pressure halves in half_s: Q = p C ln 2/t.

    Valid when: a gap (laminar) and constant K. Example: tau 2.4 s, so 1.663553 s, 1000 bar, 30 cm3, 1.5 GPa: 50 mL/min.
    """
    return pressure_pa * capacitance(volume_m3, modulus_pa) * math.log(2.0) / half_s


def orifice_rate(coefficient: float, diameter_m: float, density_kg_m3: float, capacitance_m3_pa: float) -> float:
    """Return a = Cd A sqrt(2/rho)/(2 C) [Pa^0.5/s], the speed at which sqrt(p) falls through a hole."""
    return orifice_flow(coefficient, diameter_m, 1.0, density_kg_m3) / (2.0 * capacitance_m3_pa)


def orifice_decay(start_pa: float, time_s: float, rate: float) -> float:
    """Return p [Pa] through a hole, sqrt(p) = sqrt(p0) - a t, 0 once empty; K constant, rate a from orifice_rate."""
    return max(math.sqrt(start_pa) - rate * time_s, 0.0) ** 2


def orifice_empty_time(start_pa: float, rate: float) -> float:
    """Return the time [s] until a hole has emptied the rail. Example: 1600 bar, a 6787.9088: 1.863477 s."""
    return math.sqrt(start_pa) / rate


def draw_pressure(
    start_pa: float, time_s: float, flow_m3_s: float, volume_m3: float, modulus_pa: float, growth: float
) -> float:
    """Return p [Pa] after a constant flow out: ((K0 + b p0) exp(-b Q t/V) - K0)/b, not below 0.

    Inputs: modulus_pa K0, growth b > 0. Example: 1600 bar, 5 s, 20 mL/min, 30 cm3, 1.2 GPa, 12: 334.884509 bar.
    """
    left = (modulus_pa + growth * start_pa) * math.exp(-growth * flow_m3_s * time_s / volume_m3)
    return max((left - modulus_pa) / growth, 0.0)


def fill_volume(pressure_pa: float, volume_m3: float, modulus_pa: float, growth: float) -> float:
    """Return the fuel [m3] that takes a full rail from 0 to a pressure: (V/b) ln(1 + b p/K0), V p/K0 where b is 0.

    Example: 1000 bar, 30 cm3, 1.2 GPa, 12: 1732.868 mm3 (2000 mm3 at a constant 1.5 GPa).
    """
    if growth == 0.0:
        return volume_m3 * pressure_pa / modulus_pa
    return volume_m3 / growth * math.log(1.0 + growth * pressure_pa / modulus_pa)


def pump_delivery(crank_rpm: float, pump_ratio: float, displacement_m3: float, efficiency: float) -> float:
    """Return a pump's delivery [m3/s] at a crankshaft speed.

    Inputs: pump_ratio turns of the pump a turn of the crankshaft; displacement_m3 a turn of the pump; efficiency 0..1.
    Example: 200 rpm, 0.5, 0.6 cm3, 0.9: 54 mL/min.
    """
    return crank_rpm / SECONDS_IN_MINUTE * pump_ratio * displacement_m3 * efficiency


def crank_turns(time_s: float, crank_rpm: float) -> float:
    """Return the turns of the crankshaft in a time. Example: 0.555556 s at 200 rpm, 1.851852."""
    return time_s * crank_rpm / SECONDS_IN_MINUTE


def straightness(xs: list, ys: list) -> float:
    """Return r^2 of the straight line through points, 0..1; 0 where either does not vary."""
    x_mean, y_mean = mean(xs), mean(ys)
    xx = sum([(x - x_mean) ** 2 for x in xs])
    yy = sum([(y - y_mean) ** 2 for y in ys])
    xy = sum([(x - x_mean) * (y - y_mean) for x, y in zip(xs, ys)])
    return xy * xy / (xx * yy) if xx > 0.0 and yy > 0.0 else 0.0


def leak_shape(times_s: list, pressures_pa: list) -> dict:
    """Tell a gap from a hole by a falling pressure: ln p is straight for a gap, sqrt(p) for a hole.

    Inputs: times_s and pressures_pa > 0 of the same length.
    Returns: {shape: gap | hole | unclear, gap_r2, hole_r2}; unclear for fewer than three points or a pressure that stays.
    Valid when: K about constant and one leak; mixed leaks bend both lines.
    """
    if len(times_s) < 3:
        return {"shape": "unclear", "gap_r2": 0.0, "hole_r2": 0.0}
    gap = straightness(times_s, [math.log(p) for p in pressures_pa])
    hole = straightness(times_s, [math.sqrt(p) for p in pressures_pa])
    shape = "unclear" if gap == hole else ("gap" if gap > hole else "hole")
    return {"shape": shape, "gap_r2": gap, "hole_r2": hole}
