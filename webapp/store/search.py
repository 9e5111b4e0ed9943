"""Finding cases by the words of their registration, VIN, description and notes.

Each case keeps its words; a search term matches every word that begins with it. Results come newest case first, which is
the order of the ids, so that each page costs a few index look-ups however many cases there are.
"""

import re
import unicodedata
from typing import NamedTuple

from sqlalchemy import ColumnElement, Select, func, select, union_all

from webapp.store.models import Case, CaseWord
from webapp.store.scope import Workshop

LONGEST_WORD = 40
MOST_WORDS = 400
MOST_TERMS = 6
MOST_EXPANSIONS = 24
MOST_COUNTED = 2000  # enough to tell rare terms from common ones
VIN_TAILS = (8, 6, 4)  # the part of a VIN that people read out
LAST_CHARACTER = "\U0010ffff"
WORD = re.compile(r"[^\W_]+")


class Hits(NamedTuple):
    """Case ids, newest first; `is_cut` when a term was so short that only its first expansions were searched."""

    ids: list[str]
    is_cut: bool


def split_words(text: str) -> list[str]:
    plain = unicodedata.normalize("NFKD", text.encode("utf-8", "ignore").decode()).casefold()
    plain = "".join(letter for letter in plain if not unicodedata.combining(letter))
    return [word[:LONGEST_WORD] for word in WORD.findall(plain)]


def list_words(registration: str, vin: str, texts: list[str]) -> set[str]:
    """All words under which a case is found; a registration also without its gaps, a VIN also by its last figures."""
    whole_vin = "".join(split_words(vin))
    words = [*split_words(registration), "".join(split_words(registration))[:LONGEST_WORD], whole_vin[:LONGEST_WORD]]
    words += [whole_vin[-tail:] for tail in VIN_TAILS if len(whole_vin) > tail]
    words += [word for text in texts for word in split_words(text)]
    return set(list(dict.fromkeys(filter(None, words)))[:MOST_WORDS])


def keep_words(workshop: Workshop, case_id: str, words: set[str]) -> None:
    """Write only what changed: most entries change no word."""
    kept = set(workshop.all(workshop.select(CaseWord, CaseWord.word).where(CaseWord.case_id == case_id)))
    gone = kept - words
    if gone:
        workshop.run(workshop.delete(CaseWord).where(CaseWord.case_id == case_id, CaseWord.word.in_(gone)))
    workshop.add_many(CaseWord, [{"word": word, "case_id": case_id} for word in sorted(words - kept)])


def expand(workshop: Workshop, term: str) -> list[str]:
    """The first words that begin with a term, each found by one step through the index."""
    found: list[str] = []
    while len(found) <= MOST_EXPANSIONS:
        lowest = CaseWord.word > found[-1] if found else CaseWord.word >= term
        wanted = workshop.select(CaseWord, CaseWord.word).where(lowest, CaseWord.word < term + LAST_CHARACTER)
        word = workshop.first(wanted.order_by(CaseWord.word))
        if word is None:
            break
        found.append(word)
    return found


def with_term(workshop: Workshop, wanted: Select, term: str) -> Select:
    other = CaseWord.__table__.alias()
    return wanted.where(
        select(other.c.word)
        .where(other.c.workshop_id == workshop.id, other.c.case_id == CaseWord.case_id)
        .where(other.c.word >= term, other.c.word < term + LAST_CHARACTER)
        .exists()
    )


def with_claims(workshop: Workshop, wanted: Select, claims: list[ColumnElement]) -> Select:
    case = select(Case.id).where(Case.workshop_id == workshop.id, Case.id == CaseWord.case_id, *claims)
    return wanted.where(case.exists()) if claims else wanted


def count_up_to(workshop: Workshop, term: str, most: int = MOST_COUNTED) -> int:
    """How many words of cases begin with a term, counted no further than `most`."""
    wanted = workshop.select(CaseWord, CaseWord.word).where(CaseWord.word >= term, CaseWord.word < term + LAST_CHARACTER)
    return workshop.first(select(func.count()).select_from(wanted.limit(most).subquery()))


def find_cases(workshop: Workshop, text: str, claims: list[ColumnElement], before: str | None, limit: int) -> Hits:
    """Ids of the cases that hold every term of `text` and fulfil the claims, older than `before` when that is given.

    The rarest term leads; the others are looked up for each of its cases.
    """
    counts = {term: count_up_to(workshop, term) for term in list(dict.fromkeys(split_words(text)))[:MOST_TERMS]}
    if not counts or 0 in counts.values():
        return Hits([], False)
    lead, *others = sorted(counts, key=lambda term: (counts[term], -len(term), term))
    words = expand(workshop, lead)
    parts = [narrow(workshop, word, others, claims, before).limit(limit) for word in words[:MOST_EXPANSIONS]]
    every = union_all(*(select(part.subquery()) for part in parts)).subquery()
    ids = workshop.all(select(every.c.case_id).distinct().order_by(every.c.case_id.desc()).limit(limit))
    return Hits(ids, len(words) > MOST_EXPANSIONS)


def narrow(workshop: Workshop, word: str, terms: list[str], claims: list[ColumnElement], before: str | None) -> Select:
    wanted = workshop.select(CaseWord, CaseWord.case_id).where(CaseWord.word == word)
    for term in terms:
        wanted = with_term(workshop, wanted, term)
    wanted = with_claims(workshop, wanted, claims)
    if before:
        wanted = wanted.where(CaseWord.case_id < before)
    return wanted.order_by(CaseWord.case_id.desc())
