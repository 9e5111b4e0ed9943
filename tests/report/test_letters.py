"""Text made fit for paper: nothing but letters that can be printed, no steering, no word that runs off the page."""

import pytest

from webapp.report.letters import BOX, BREAK, LONGEST_WORD, clean, clean_text

ROWS = [
    ("plain", "AB12 CDE", "AB12 CDE"),
    ("accents and signs", "Zoë ± 3 µm — “x” ≤", "Zoë ± 3 µm — “x” ≤"),
    ("Greek, Cyrillic, Hebrew, Arabic", "Ω Привет אבג مرحبا", "Ω Привет אבג مرحبا"),
    ("no glyphs", "中国 van 🚗", f"{BOX}{BOX} van {BOX}"),
    ("half a pair, private use", "\ud800a\ue000", f"{BOX}a{BOX}"),
    ("turned round", "\u202eabc\u2066\u200bd", "abcd"),
    ("lines, tabs, bells", "a\nb\tc\ad", "a b c d"),
    ("markup stays", '#read("/etc/passwd") *b* $x$ <a> \\u{41}', '#read("/etc/passwd") *b* $x$ <a> \\u{41}'),
]


@pytest.mark.parametrize(("text", "wanted"), [row[1:] for row in ROWS], ids=[row[0] for row in ROWS])
def test_a_text_keeps_what_can_be_printed(text, wanted):
    assert clean_text(text) == wanted


def test_a_word_that_is_too_long_may_break():
    parts = clean_text("x" * 100).split(BREAK)
    assert "".join(parts) == "x" * 100
    assert max(len(part) for part in parts) == LONGEST_WORD


def test_what_is_ours_stays():
    value = {"seal": "f" * 64, "rows": [{"seal": "e" * 64}, "中", 3, None, True]}
    assert clean(value, ("seal",)) == {"seal": "f" * 64, "rows": [{"seal": "e" * 64}, BOX, 3, None, True]}


def test_many_strange_letters_are_looked_through_at_once():
    text = "".join(chr(code) for code in range(0x4E00, 0x5200)) + "Ж"
    assert clean_text(text).replace(BREAK, "") == BOX * 1024 + "Ж"
