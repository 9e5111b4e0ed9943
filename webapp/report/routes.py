"""The printable report of a case: first for the customer in plain words, then the evidence for those who want it."""

from flask import Blueprint, render_template

from webapp.access import signed_in, workshop_to_read
from webapp.report.plain import explain
from webapp.report.rise import lay_out_rises
from webapp.store import sheet
from webapp.store.moments import now

blueprint = Blueprint("report", __name__)


@blueprint.get("/office/cases/<case_id>/report")
@signed_in()
def show_report(case_id: str) -> str:
    with workshop_to_read() as workshop:
        found = sheet.read_sheet(workshop, case_id)
        workshop_name = workshop.row().name
    drawn = lay_out_rises(found["rises"], found["voided"])
    return render_template(
        "report/case.html", **{**found, "rises": drawn}, plain=explain(found), workshop_name=workshop_name, now=now()
    )
