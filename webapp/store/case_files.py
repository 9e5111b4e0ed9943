"""Cases of the list as files, a page at a time however many there are: CSV for spreadsheets, JSON lines for programs."""

import csv
import io
import json
from collections.abc import Callable, Iterator

from webapp.store.cases import list_cases
from webapp.store.db import Database
from webapp.store.limit_files import FORMULA
from webapp.store.models import Case, CaseDocument
from webapp.store.scope import Workshop

ROWS_AT_ONCE = 500
COLUMNS = (
    "id", "state", "registration", "vin", "description", "fault", "pump", "differs", "conflicts", "entries", "problem",
    "opened_at", "updated_at",
)  # fmt: skip
# a spreadsheet that is set to East Asian width takes these for the same; a line feed can begin a new cell in poor readers
MORE_FORMULA = ("\n", "＝", "＋", "－", "＠")


def guard_cell(value: object) -> object:
    """Text that a spreadsheet would run gets a quote in front, so that it is shown."""
    is_formula = isinstance(value, str) and value.lstrip(" ").startswith((*FORMULA, *MORE_FORMULA))
    return f"'{value}" if is_formula else value


def write_csv_head() -> str:
    return "\N{BYTE ORDER MARK}" + write_csv_row(COLUMNS)  # else spreadsheets take UTF-8 for the machine's own code page


def write_csv_row(cells) -> str:
    out = io.StringIO()
    csv.writer(out, lineterminator="\r\n").writerow([guard_cell(cell) for cell in cells])
    return out.getvalue()


def write_csv_page(_workshop: Workshop, rows: list[Case]) -> Iterator[str]:
    for row in rows:
        cells = [getattr(row, name) for name in COLUMNS]
        yield write_csv_row(["yes" if cell is True else "no" if cell is False else cell for cell in cells])


def write_lines_page(workshop: Workshop, rows: list[Case]) -> Iterator[str]:
    """One case a line: its row, its document and its assessment."""
    wanted = workshop.select(CaseDocument).where(CaseDocument.case_id.in_([row.id for row in rows]))
    kept = {found.case_id: found for found in workshop.all(wanted)}
    for row in rows:
        made = {"row": {name: getattr(row, name) for name in COLUMNS}}
        if row.id in kept:
            made |= {"case": json.loads(kept[row.id].document), "assessment": json.loads(kept[row.id].assessment)}
        yield json.dumps(made, ensure_ascii=False) + "\n"


class Form:
    """A kind of file: its media type, what stands at its head, and how a page of cases is written."""

    def __init__(self, type_: str, head: str, write_page: Callable[[Workshop, list[Case]], Iterator[str]]):
        self.type, self.head, self.write_page = type_, head, write_page


FORMS = {
    "csv": Form("text/csv; charset=utf-8", write_csv_head(), write_csv_page),
    "jsonl": Form("application/jsonl; charset=utf-8", "", write_lines_page),
}


def write_pages(form: Form, opened: Database, workshop_id: str, filters: dict) -> Iterator[str]:
    """Each page is a view of its own: a file of many thousand cases must not hold one open that long."""
    yield form.head
    after = None
    while True:
        with opened.reading() as session:
            workshop = Workshop(session, workshop_id)
            page = list_cases(workshop, **filters, after=after, limit=ROWS_AT_ONCE)
            yield "".join(form.write_page(workshop, page.cases))
        after = page.after
        if after is None:
            return
