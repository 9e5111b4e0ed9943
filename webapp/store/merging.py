"""A job that was opened twice. The duplicate is kept as it is, says where the work goes on and leaves the lists; the case
that goes on may take over readings of what it has not read itself. These are entries of its own (each case is judged and
sealed by its own log alone), and `case_joined` says which they are. Separating again strikes them out."""

from webapp.store import cases
from webapp.store.cases import Statement, WholeCase
from webapp.store.refusals import Conflict
from webapp.store.scope import Workshop

STAMPS = ("id", "at", "by")


def phase(row: dict) -> tuple[str, str]:
    return row["quantity"], row.get("phase") or "before"


def list_missing(duplicate: WholeCase, target: WholeCase) -> list[dict]:
    """Readings of the duplicate for which the target has none of its own, in their order."""
    known = {phase(row) for row in target.document.get("readings") or []}
    return [row for row in duplicate.document.get("readings") or [] if phase(row) not in known]


def check_pair(duplicate: WholeCase, target: WholeCase) -> None:
    if duplicate.row.id == target.row.id:
        raise Conflict("same_case", "target", "target: a case cannot be joined with itself; choose the other one")
    if duplicate.document.get("merged_into"):
        raise Conflict("merged", "target", "target: this case is joined with another already; separate them first")
    if target.document.get("merged_into"):
        raise Conflict("merged", "target", "target: that case is itself joined with another; choose the one that goes on")


def merge(workshop: Workshop, case_id: str, target_id: str, person_id: str, with_readings: bool) -> None:
    """Say that `case_id` is a duplicate of `target_id`, in both."""
    workshop.lock()
    duplicate, target = cases.get_case(workshop, case_id), cases.get_case(workshop, target_id)
    check_pair(duplicate, target)
    taken = list_missing(duplicate, target) if with_readings else []
    copies = [
        Statement("reading_taken", {name: value for name, value in row.items() if name not in STAMPS}, row["by"], row["at"])
        for row in taken
    ]
    ids = cases.write_entries(workshop, target_id, person_id, copies) if copies else []
    cases.write_entry(workshop, target_id, person_id, "case_joined", {"duplicate": case_id, "readings": ids})
    cases.write_entry(workshop, case_id, person_id, "merged_into", {"target": target_id})


def list_taken_over(target: WholeCase, case_id: str) -> list[str]:
    """Readings that the target has from a duplicate and that count."""
    mine = [name for row in target.document.get("joined") or [] if row["duplicate"] == case_id for name in row["readings"]]
    return [row["id"] for row in target.document.get("readings") or [] if row["id"] in mine]


def separate(workshop: Workshop, case_id: str, person_id: str) -> None:
    """The two were not the same job after all."""
    workshop.lock()
    merged = cases.get_case(workshop, case_id).document.get("merged_into")
    if not merged:
        raise Conflict("not_merged", "", "This case is not joined with another one. Look at it again.")
    target = cases.get_case(workshop, merged["target"])
    reason = "It was taken over from a case that turned out to be another job."
    struck = [Statement("reading_voided", {"reading": name, "reason": reason}) for name in list_taken_over(target, case_id)]
    if struck:
        cases.write_entries(workshop, target.row.id, person_id, struck)
    cases.write_entry(workshop, case_id, person_id, "merged_into", {})
