"""Jobs that the office opens for somebody, and what is asked and answered about a case."""

from webapp.store import cases, log
from webapp.store.cases import Statement
from webapp.store.limits import find_usual
from webapp.store.people import get_person
from webapp.store.refusals import Conflict, Refusal
from webapp.store.scope import Workshop, new_id


def find_worker(workshop: Workshop, person_id: str) -> str:
    """*Refuses* somebody who is not here or is shut out: the job would lie where nobody looks."""
    person = get_person(workshop, person_id)
    if not person.active:
        raise Refusal("not_active", "person", f"person: {person.name} is shut out; choose somebody who works here")
    return person.id


def open_job(workshop: Workshop, author_id: str, person_id: str, vehicle: dict, complaints: list[str], note: str) -> str:
    """Open a case at a desk and give it to a person; return its id. Fields of `vehicle` that are empty stay unsaid."""
    statements = [Statement("case_opened", {})]
    said = {name: value for name, value in vehicle.items() if value}
    statements += [Statement("vehicle_set", said)] if said else []
    statements += [Statement("complaint_set", {"complaints": complaints})] if complaints else []
    usual = find_usual(workshop)
    statements += [Statement("limits_set", usual)] if usual else []
    statements.append(Statement("job_assigned", {"to": find_worker(workshop, person_id), "note": note}))
    case_id = new_id()
    cases.write_entries(workshop, case_id, author_id, statements)
    return case_id


def assign(workshop: Workshop, case_id: str, author_id: str, person_id: str, note: str) -> None:
    """Give a case that is there already to somebody, or to somebody else."""
    body = {"to": find_worker(workshop, person_id), "note": note}
    cases.write_entry(workshop, case_id, author_id, "job_assigned", body)


def comment(workshop: Workshop, case_id: str, author_id: str, text: str, to: str = "", question: bool = False) -> None:
    body = {"text": text, "question": question} | ({"to": find_worker(workshop, to)} if to else {})
    cases.write_entry(workshop, case_id, author_id, "comment_added", body)


def answer(workshop: Workshop, case_id: str, author_id: str, question: str, text: str) -> None:
    """*Refuses* what nobody asked in this case."""
    rows = log.read_rows(workshop, case_id)
    if rows and question not in {row.id for row in rows if row.kind == "comment_added"}:
        raise Conflict("no_question", "answers", "answers: this case has no such question; look at the case again")
    cases.write_entry(workshop, case_id, author_id, "comment_added", {"text": text, "answers": question})
