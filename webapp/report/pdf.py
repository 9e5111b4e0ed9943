"""The report as PDF: a fixed template and its data as JSON, all in memory; nothing is read from the machine."""

import json
import logging
from pathlib import Path

from webapp.report.content import OURS, lay_out_page
from webapp.report.letters import BOX, clean
from webapp.report.pictures import lay_out_pictures
from webapp.report.press import STANDARDS, NotPrinted, print_pdf
from webapp.store import sheet
from webapp.store.moments import read_moment
from webapp.store.scope import Workshop
from webapp.store.shelves import Shelf

TEMPLATE = Path(__file__).parent.parent / "templates" / "report" / "case.typ"
log = logging.getLogger("railcase")


def make_pdf(page: dict, moment: str) -> bytes:
    """The bytes of the PDF; the same record gives the same bytes, because `moment` is the record's and not the clock's."""
    printed = clean(page, OURS)
    printed["boxes"] = BOX in json.dumps(printed, ensure_ascii=False)
    files = {"main.typ": TEMPLATE.read_bytes(), "case.json": json.dumps(printed).encode()}
    at = read_moment(moment).replace(microsecond=0)
    try:
        return print_pdf(files, at, STANDARDS)
    except NotPrinted as problem:
        # a report that is not for the archive is worth more to the customer than none
        log.warning("a report keeps to no standard: %s", problem)
        return print_pdf(files, at)


def print_report(workshop: Workshop, shelf: Shelf, case_id: str, paper: str = "a4") -> tuple[str, bytes]:
    """Title and PDF of a case's report."""
    found = sheet.read_sheet(workshop, case_id)
    pictures = lay_out_pictures(workshop, shelf, found["photos"])
    page = lay_out_page(found, workshop.row().name, paper, pictures)
    return page["title"], make_pdf(page, found["log"][-1]["received_at"])
