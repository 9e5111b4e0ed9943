"""Replay a table of expected values against the engine; runs on CPython and on the phone's MicroPython alike.

Rules for this file: the engine's own subset of Python; no pytest. A row holds name, call ('module.function'), args, expect
(full digits, met within a relative 1e-12) and, where a document prints the value, printed with its number of digits.
"""

import math

RELATIVE = 1e-12
ABSOLUTE = 1e-15


def is_same(found: object, wanted: object) -> bool:
    """True when two JSON-like values agree, numbers within RELATIVE."""
    if isinstance(wanted, dict):
        return (
            isinstance(found, dict) and sorted(found) == sorted(wanted) and all(is_same(found[k], wanted[k]) for k in wanted)
        )
    if isinstance(wanted, list):
        same_length = type(found) in (list, tuple) and len(found) == len(wanted)
        return same_length and all(is_same(f, w) for f, w in zip(found, wanted))
    if type(wanted) in (int, float) and type(found) in (int, float):
        return math.isclose(found, wanted, rel_tol=RELATIVE, abs_tol=0.0 if wanted else ABSOLUTE)
    return found == wanted


def is_printed(found: float, printed: float, digits: int) -> bool:
    """True when a value rounds to what the document prints."""
    return abs(found - printed) <= 0.5 * 10.0**-digits * (1.0 + 1e-9)


def replay_row(row: dict, modules: dict) -> str:
    """Return what is wrong with one row, '' when nothing is."""
    module, function = row["call"].split(".")
    found = getattr(modules[module], function)(*row["args"])
    if not is_same(found, row["expect"]):
        return f"{row['name']}: {row['call']} gave {found}, expected {row['expect']}"
    if "printed" in row and not is_printed(found, row["printed"], row["printed_digits"]):
        return f"{row['name']}: {found} does not round to the printed {row['printed']}"
    return ""
