"""The printable report of a case: first for the customer in plain words, then the evidence for those who want it."""

import re

from flask import Blueprint, Response, render_template, request

from webapp.access import database, signed_in, workshop_to_read
from webapp.report.content import PAPERS
from webapp.report.pdf import print_report
from webapp.report.plain import explain, tell_in_one_line
from webapp.report.returns import lay_out_returns
from webapp.report.rise import lay_out_rises
from webapp.store import archive, sheet
from webapp.store.moments import now
from webapp.store.refusals import Refusal

blueprint = Blueprint("report", __name__)


@blueprint.get("/office/cases/<case_id>/report")
@signed_in()
def show_report(case_id: str) -> str:
    with workshop_to_read() as workshop:
        found = sheet.read_sheet(workshop, case_id)
        workshop_name = workshop.row().name
    drawn = lay_out_rises(found["rises"], found["voided"])
    returns = lay_out_returns(found["assessment"].get("verdicts") or [])
    told = {"plain": explain(found), "headline": tell_in_one_line(found), "workshop_name": workshop_name, "now": now()}
    return render_template("report/case.html", **{**found, "rises": drawn}, returns=returns, **told)


def read_paper() -> str:
    paper = request.args.get("paper", "a4")
    if paper not in PAPERS:
        raise Refusal("not_accepted", "paper", f"paper: {paper[:40]!r} is not known; use {' or '.join(PAPERS)}")
    return paper


def name_file(title: str, ending: str) -> str:
    """A file name of letters and digits that every machine takes."""
    return "-".join(["fuel-pressure", *re.findall(r"[A-Za-z0-9]+", title)])[:60] + ending


def send_file(data: bytes, type_: str, name: str) -> Response:
    named = {"Content-Disposition": f'attachment; filename="{name}"', "Cache-Control": "private, no-store"}
    return Response(data, content_type=type_, headers=named)


@blueprint.get("/office/cases/<case_id>/report.pdf")
@signed_in()
def send_pdf(case_id: str) -> Response:
    """Query: `paper` a4 (default) or letter."""
    paper = read_paper()
    with workshop_to_read() as workshop:
        title, data = print_report(workshop, database().photos, case_id, paper)
    return send_file(data, "application/pdf", name_file(title, ".pdf"))


@blueprint.get("/office/cases/<case_id>/archive.zip")
@signed_in("technician", "office")
def send_archive(case_id: str) -> Response:
    with workshop_to_read() as workshop:
        title, data = print_report(workshop, database().photos, case_id)
        packed = archive.write_archive(workshop, database().photos, case_id, {"report.pdf": data})
    return send_file(packed, "application/zip", name_file(title, ".zip"))
