"""The check digit of a vehicle identification number.

Rules for this file: a mismatch is a warning and never a refusal, since only the North American market requires the digit.
Method: letters become numbers, times position weights, sum modulo 11; 10 is written X; ninth character.
Sources: ISO 3779 (17 characters, no I, O, Q); 49 CFR 565.15(c), worked example of table VI, as quoted by secondary
copies (tests/engine/cases/vin.json).
"""

VIN_LENGTH = 17
CHECK_POSITION = 8
WEIGHTS = (8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2)
LETTERS = {
    "A": 1, "B": 2, "C": 3, "D": 4, "E": 5, "F": 6, "G": 7, "H": 8, "J": 1, "K": 2, "L": 3, "M": 4, "N": 5, "P": 7,
    "R": 9, "S": 2, "T": 3, "U": 4, "V": 5, "W": 6, "X": 7, "Y": 8, "Z": 9,
}  # fmt: skip


def char_value(char: str) -> int | None:
    """Return the number that a VIN character stands for, None for one that no VIN holds."""
    return int(char) if char in "0123456789" else LETTERS.get(char)


def check_digit(vin: str) -> str:
    """Return the check digit that a 17-character VIN should carry ('0' to '9' or 'X'). Example: 1M8GDM9AXKP042788, X."""
    total = sum([weight * (char_value(char) or 0) for weight, char in zip(WEIGHTS, vin)])
    rest = total % 11
    return "X" if rest == 10 else str(rest)


def vin_warning(vin: str) -> str | None:
    """Return one sentence on what looks wrong with a VIN, None when nothing does or when it is empty."""
    text = vin.strip().upper()
    if not text:
        return None
    if len(text) != VIN_LENGTH:
        return f"A VIN has {VIN_LENGTH} characters; this one has {len(text)}. Compare it with the vehicle."
    wrong = [c for c in text if char_value(c) is None]
    if wrong:
        return f"A VIN never holds '{wrong[0]}' (I, O and Q are left out). Compare it with the vehicle."
    if check_digit(text) != text[CHECK_POSITION]:
        return (
            f"The check digit (9th character) would be {check_digit(text)}, not {text[CHECK_POSITION]}. That is wrong for "
            "North America and says nothing elsewhere. Compare the VIN with the vehicle."
        )
    return None
