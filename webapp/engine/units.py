"""Units of measure: which dimension a unit has, and its factor to the canonical unit of that dimension.

Rules for this file: one table; canonical units are those of the case contract (bar, V, mL/min, s, rpm, ohm, mL, degC).
Method: canonical = value * factor + offset.
Sources: NIST SP 811 Appendix B for the factors, which follow exactly from the definitions of pound, inch and standard
gravity; conventional millimetre of mercury 133.322 387 415 Pa. tests/engine/cases/units.json checks them.
"""

from .numeric import is_number
from .problems import refuse, show

PSI_IN_BAR = 0.06894757293168361  # (0.45359237 kg * 9.80665 m/s2) / (0.0254 m)^2, exact inputs
MMHG_IN_BAR = 133.322387415e-5
DEGREES_PER_SECOND_IN_RPM = 1.0 / 6.0

# unit: (dimension, factor, offset) to the canonical unit, which is the one with factor 1 and offset 0 listed first
UNITS = {
    "bar": ("pressure", 1.0, 0.0),
    "mbar": ("pressure", 0.001, 0.0),
    "kPa": ("pressure", 0.01, 0.0),
    "MPa": ("pressure", 10.0, 0.0),
    "Pa": ("pressure", 1e-5, 0.0),
    "psi": ("pressure", PSI_IN_BAR, 0.0),
    "mmHg": ("pressure", MMHG_IN_BAR, 0.0),
    "inHg": ("pressure", 25.4 * MMHG_IN_BAR, 0.0),
    "V": ("voltage", 1.0, 0.0),
    "mV": ("voltage", 0.001, 0.0),
    "mL/min": ("flow", 1.0, 0.0),
    "L/min": ("flow", 1000.0, 0.0),
    "L/h": ("flow", 1000.0 / 60.0, 0.0),
    "mm3/s": ("flow", 0.06, 0.0),
    "s": ("time", 1.0, 0.0),
    "ms": ("time", 0.001, 0.0),
    "min": ("time", 60.0, 0.0),
    "rpm": ("speed", 1.0, 0.0),
    "deg/s": ("speed", DEGREES_PER_SECOND_IN_RPM, 0.0),
    "ohm": ("resistance", 1.0, 0.0),
    "mohm": ("resistance", 0.001, 0.0),
    "mL": ("volume", 1.0, 0.0),
    "L": ("volume", 1000.0, 0.0),
    "degC": ("temperature", 1.0, 0.0),
    "degF": ("temperature", 1.0 / 1.8, -32.0 / 1.8),
    "K": ("temperature", 1.0, -273.15),
}


def check_unit(unit: object, wanted: str, field: str) -> None:
    """Refuse a unit that is unknown or of another dimension than the unit `wanted` (codes unknown_unit, wrong_unit)."""
    same = sorted([u for u in UNITS if UNITS[u][0] == UNITS[wanted][0]])
    if not isinstance(unit, str) or unit not in UNITS:
        raise refuse("unknown_unit", field, f"{show(unit)} is not a unit known here; use one of {', '.join(same)}")
    if UNITS[unit][0] != UNITS[wanted][0]:
        raise refuse(
            "wrong_unit",
            field,
            f"{unit} measures {UNITS[unit][0]}, but {UNITS[wanted][0]} is wanted; use one of {', '.join(same)}",
        )


def convert(value: float, unit: str, to_unit: str, field: str = "unit") -> float:
    """Convert a value between two units of one dimension.

    Inputs: value [unit] any finite number; unit, to_unit names of UNITS.
    Returns: the value in to_unit; unchanged to the last bit when the units are equal.
    Refuses: not_a_number, unknown_unit, wrong_unit.
    Source: NIST SP 811 Appendix B. Example: 100 psi = 6.894757 bar.
    """
    if not is_number(value):
        raise refuse("not_a_number", "value", f"{show(value)} is not a number; give a plain number such as 292.5")
    if not isinstance(to_unit, str) or to_unit not in UNITS:
        raise refuse("unknown_unit", field, f"{show(to_unit)} is not a unit known here")
    check_unit(unit, to_unit, field)
    if unit == to_unit:
        return value
    _, factor, offset = UNITS[unit]
    _, to_factor, to_offset = UNITS[to_unit]
    return (value * factor + offset - to_offset) / to_factor


def convert_difference(value: float, unit: str, to_unit: str) -> float:
    """Convert a difference (an uncertainty, a spread), where offsets such as that of degF play no part."""
    return value if unit == to_unit else value * UNITS[unit][1] / UNITS[to_unit][1]
