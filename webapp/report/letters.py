"""Text from people made fit for paper: it stays text, whatever stands in it.

The template gets it as JSON and never as markup. What is left to do here: letters that the report's own fonts do not have
become an empty box (the report then says so), signs that steer the direction of writing go, and a word too long for a line
may break. Nothing else is changed.
"""

import json
import re
import unicodedata
from functools import lru_cache

from webapp.report.press import STANDARDS, NotPrinted, print_pdf

BOX = "\u25a1"
BREAK = "\u200b"  # a place where a line may break; no width
LONGEST_WORD = 20
PROBE = b"""#set document(title: "probe")
#set text(font: ("Libertinus Serif", "DejaVu Sans Mono"))
#for letter in json("letters.json") [#letter ]
"""
STEERING = re.compile("[\u061c\u200b\u200e\u200f\u2028-\u202e\u2060-\u206f\ufeff]")
LONG_WORD = re.compile(rf"\S{{{LONGEST_WORD + 1},}}")
REFUSED = re.compile(r'the text `"(.+?)"` could not be displayed')
UNPRINTABLE = ("Cs", "Co", "Cn")  # halves of pairs, private and unassigned letters


def list_refused(letters: list[str]) -> list[str]:
    """Ask the typesetter itself: under these standards it names what its fonts do not have."""
    files = {"main.typ": PROBE, "letters.json": json.dumps(letters).encode()}
    try:
        print_pdf(files, standards=STANDARDS)
    except NotPrinted as problem:
        named = set(REFUSED.findall(problem.text))
        return [letter for letter in letters if letter in named] or letters
    return []


@lru_cache(maxsize=64)
def find_missing(letters: frozenset[str]) -> frozenset[str]:
    """Those of these letters that cannot be printed. A refusal may name only some, so it is asked until all is well."""
    missing = {letter for letter in letters if unicodedata.category(letter) in UNPRINTABLE}
    left = sorted(letters - missing)
    while left and (refused := list_refused(left)):
        missing.update(refused)
        left = [letter for letter in left if letter not in missing]
    return frozenset(missing)


def clean_text(text: str) -> str:
    """One string with only what can be printed; every kind of blank becomes a space."""
    text = STEERING.sub("", text)
    text = "".join(" " if unicodedata.category(letter) == "Cc" else letter for letter in text)
    missing = find_missing(frozenset(letter for letter in text if not letter.isascii()))
    text = "".join(BOX if letter in missing else letter for letter in text)
    return LONG_WORD.sub(lambda found: break_word(found[0]), text)


def break_word(word: str) -> str:
    return BREAK.join(word[at : at + LONGEST_WORD] for at in range(0, len(word), LONGEST_WORD))


def clean(value, keep: tuple[str, ...] = ()):
    """The same for everything inside a JSON value; what stands under the keys `keep` is ours and stays as it is."""
    if isinstance(value, str):
        return clean_text(value)
    if isinstance(value, dict):
        return {key: part if key in keep else clean(part, keep) for key, part in value.items()}
    if isinstance(value, list | tuple):
        return [clean(part, keep) for part in value]
    return value
