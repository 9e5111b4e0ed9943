"""The store's one contact with the engine: checking entries, folding and judging cases under the library's
catalogue, with the workshop's own limits where it has any."""

import logging
from functools import cache

from webapp.engine.book import Book, open_book
from webapp.engine.entries import BODIES, check_body, fold_log
from webapp.engine.judge import judge_folded
from webapp.engine.problems import problem_rows
from webapp.library.loader import load_catalogue
from webapp.meters import meters

log = logging.getLogger("railcase")
OUR_FAULT = "This case could not be judged because of a fault in this program. Its entries are safe."


@cache
def book() -> Book:
    return open_book(load_catalogue())


def book_with(profiles: list[dict], weights: list[dict] | None = None, instruments: list[dict] | None = None) -> Book:
    """The library's book with what a workshop has of its own: profiles, each after the one that it builds on, weights of
    the faults, instruments."""
    if not (profiles or weights or instruments):
        return book()
    catalogue = load_catalogue()
    own = {"profiles": profiles, "weights": weights or [], "instruments": instruments or []}
    return open_book(catalogue | {part: catalogue.get(part, []) + rows for part, rows in own.items()})


def list_problems(entry: dict, book: Book) -> list[dict]:
    """What the engine finds wrong with the body of an entry whose outer shape is sound: rows of code, field, text.

    A kind that is not known here is no problem: a newer app made it, and it is kept and passed on.
    """
    kind, body = entry["kind"], entry["body"]
    return problem_rows(check_body(kind, body, book)) if kind in BODIES else []


def fold_and_judge(entries: list[dict], book: Book) -> tuple[dict, dict, str | None]:
    """Document, assessment, and what to tell when either could not be made: one bad case must not stop a sync."""
    with meters().judge_seconds.time():
        return try_to_judge(entries, book)


def try_to_judge(entries: list[dict], book: Book) -> tuple[dict, dict, str | None]:
    case: dict = {}
    try:
        case = fold_log(entries, book)
        return case, judge_folded(case, book), None
    except ValueError as problem:
        return case, {}, f"This case could not be judged: {problem}"
    except Exception:
        log.exception("case %s could not be folded or judged", entries[0]["case"])
        return case, {}, OUR_FAULT
