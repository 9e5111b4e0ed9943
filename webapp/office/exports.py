"""Cases leave the office as files: the list as it is filtered, in one go."""

from flask import Response, abort, request

from webapp.access import actor, database, signed_in
from webapp.office.listing import read_filters
from webapp.store import projection
from webapp.store.case_files import FORMS, write_pages


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
    lines = write_pages(form, database(), actor().workshop_id, filters)
    return Response(lines, content_type=form.type, headers=headers)
