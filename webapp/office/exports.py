"""Cases leave the office as files: the list as it is filtered, in one go."""

from collections.abc import Iterator

from flask import Response, abort, request

from webapp.access import actor, database, signed_in
from webapp.office.listing import read_filters
from webapp.store import cases, projection
from webapp.store.case_files import FORMS, Form
from webapp.store.scope import Workshop

ROWS_AT_ONCE = 500


def write_file(form: Form, workshop_id: str, opened, filters: dict) -> Iterator[str]:
    """Each page is a view of its own: a file of many thousand cases must not hold one open that long."""
    yield form.head
    after = None
    while True:
        with opened.reading() as session:
            workshop = Workshop(session, workshop_id)
            page = cases.list_cases(workshop, **filters, after=after, limit=ROWS_AT_ONCE)
            yield "".join(form.write_page(workshop, page.cases))
        after = page.after
        if after is None:
            return


@signed_in("technician", "office")
def export_cases() -> Response:
    """Query: `as` csv or jsonl, and the filters of the list."""
    form = FORMS.get(request.args.get("as", "csv"))
    filters = read_filters()
    if form is None:
        abort(404)
    projection.catch_up_quietly(database(), actor().workshop_id)
    ending = request.args.get("as", "csv")
    headers = {"Content-Disposition": f'attachment; filename="cases.{ending}"', "Cache-Control": "no-store"}
    lines = write_file(form, actor().workshop_id, database(), filters)
    return Response(lines, content_type=form.type, headers=headers)
