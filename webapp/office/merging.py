"""Joining a case with the one that goes on, when a job was opened twice; and separating them again."""

from flask import render_template, request

from webapp.access import actor, signed_in, workshop_to_read, workshop_to_write
from webapp.office.cases import Page
from webapp.office.jobs import back_to_case
from webapp.office.listing import LONGEST_SEARCH
from webapp.store import cases, merging
from webapp.store.refusals import Refusal

MOST_OFFERED = 10


@signed_in("office")
def choose_target(case_id: str) -> Page:
    """Query: `q`, words of the case that goes on; without it the duplicate's own registration, VIN or description."""
    with workshop_to_read() as workshop:
        row = cases.get_case(workshop, case_id).row
        text = request.args.get("q", row.registration or row.vin or row.description)[:LONGEST_SEARCH]
        found = cases.list_cases(workshop, text=text, limit=MOST_OFFERED + 1).cases if text.strip() else []
    others = [other for other in found if other.id != case_id][:MOST_OFFERED]
    return render_template("office/merge.html", row=row, text=text, found=others)


@signed_in("office")
def merge_case(case_id: str) -> Page:
    target = request.form.get("target", "")
    if not target:
        raise Refusal("missing", "target", "Choose the case that goes on. Go back and press one of them.")
    with workshop_to_write() as workshop:
        merging.merge(workshop, case_id, target, actor().person_id, request.form.get("readings") == "yes")
    return back_to_case(target, "The two cases are joined. This is the one that goes on.")


@signed_in("office")
def separate_case(case_id: str) -> Page:
    with workshop_to_write() as workshop:
        merging.separate(workshop, case_id, actor().person_id)
    return back_to_case(case_id, "The two cases are separate again.")
