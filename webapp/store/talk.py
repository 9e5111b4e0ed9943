"""What the office and the phones say to each other about a case, laid out for reading: whose job it is, questions with
their answers, why it asks for a review, which duplicates belong to it."""

from typing import Any

from webapp.engine.entries import count_decisive
from webapp.store.compare import is_reviewed, list_reasons
from webapp.store.models import Case
from webapp.store.scope import Workshop


def sign(row: dict | None, authors: Any) -> dict | None:
    return {**row, "by": authors.person(row["by"], row["entry"])} if row else None


def lay_out_comments(document: dict, authors: Any) -> list[dict]:
    """What was said, in order, each with the answers to it; an answer to nothing that is here stands by itself."""
    rows = [
        {**row, "by": authors.person(row["by"], row["entry"]), "to": authors.people.get(row.get("to"), "")}
        for row in document.get("comments") or []
    ]
    known = {row["entry"] for row in rows}
    asked = document.get("open_questions") or []
    return [
        {**row, "is_open": row["entry"] in asked, "replies": [a for a in rows if a.get("answers") == row["entry"]]}
        for row in rows
        if row.get("answers") not in known
    ]


def lay_out_job(document: dict, authors: Any) -> dict | None:
    job = sign(document.get("job"), authors)
    return {**job, "to": authors.people.get(job["to"], "a person not known here"), "to_id": job["to"]} if job else None


def find_duplicates(workshop: Workshop, case_id: str) -> list[Case]:
    return workshop.all(workshop.select(Case).where(Case.merged_into == case_id).order_by(Case.id))


def lay_out_talk(workshop: Workshop, whole: Any, authors: Any) -> dict:
    document = whole.document
    return {
        "job": lay_out_job(document, authors),
        "job_seen": sign(document.get("job_seen"), authors),
        "comments": lay_out_comments(document, authors),
        "review_reasons": list_reasons(document, whole.assessment),
        "review": sign(document.get("review"), authors) if is_reviewed(document) else None,
        "seen": count_decisive([{"kind": row.kind} for row in whole.log]),
        "merged": sign(document.get("merged_into"), authors),
        "duplicates": find_duplicates(workshop, whole.row.id),
        "reopenings": [sign(row, authors) for row in document.get("reopenings") or []],
    }
