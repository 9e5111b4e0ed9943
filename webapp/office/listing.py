"""The list of cases, narrowed by what stands in its address, and the views that a person has saved of it."""

from datetime import date
from typing import Any
from urllib.parse import urlencode

from flask import abort, flash, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from webapp.access import actor, database, signed_in, workshop_to_read, workshop_to_write
from webapp.store import cases, instruments, people, projection, sheet, views
from webapp.store.filters import Wanted
from webapp.store.refusals import Refusal
from webapp.wording import PUMP

LONGEST_SEARCH = 200
LONGEST_MARK = 100
TICKS = ("photos", "questions", "merged")
NAMED = ("person", "fault", "pump", "complaint", "since", "until")
FIELDS = ("q", "state", *NAMED, *TICKS)


def read_day(name: str) -> str | None:
    text = request.args.get(name, "").strip()
    try:
        return date.fromisoformat(text).isoformat() if text else None
    except ValueError:
        raise Refusal("not_a_day", name, f"{name}: {text[:20]!r} is not a day; write it like 2026-11-25") from None


def read_one_of(name: str, known: Any) -> str | None:
    value = request.args.get(name) or None
    if value is not None and value not in known:
        abort(404)
    return value


def read_filters() -> dict[str, Any]:
    """The words for `cases.list_cases` that the address holds. *Refuses* a day that is none; unknown ids are 404."""
    wanted = Wanted(
        person=request.args.get("person", "")[:64] or None,
        fault=read_one_of("fault", sheet.names()["faults"]),
        pump=read_one_of("pump", PUMP),
        complaint=read_one_of("complaint", sheet.names()["complaints"]),
        since=read_day("since"),
        until=read_day("until"),
        **{name: request.args.get(name) == "1" for name in TICKS},
    )
    text = request.args.get("q", "")[:LONGEST_SEARCH]
    return {"text": text, "state": read_one_of("state", cases.LISTED_STATES), "wanted": wanted}


def write_query(values: Any) -> str:
    """The filters as they stand in an address: known fields only, in a fixed order, empty ones left out."""
    return urlencode([(name, values[name]) for name in FIELDS if values.get(name)])


@signed_in()
def list_cases() -> str:
    """Query: `q` words to find, the filters, `after` the mark of the page before."""
    filters = read_filters()
    projection.catch_up_quietly(database(), actor().workshop_id)
    with workshop_to_read() as workshop:
        page = cases.list_cases(workshop, **filters, after=request.args.get("after", "")[:LONGEST_MARK])
        staff = {person.id: person.name for person in people.list_people(workshop)}
        saved = views.list_views(workshop, actor().person_id)
        due = instruments.list_due(workshop)
    query = write_query(request.args)
    chosen = {name: request.args.get(name, "") for name in FIELDS}
    narrowed = any(chosen[name] for name in (*NAMED, *TICKS))
    told = {
        "due": due,
        "chosen": chosen,
        "query": query,
        "narrowed": narrowed,
        "people": staff,
        "views": saved,
        "pumps": PUMP,
    }
    return render_template("office/cases.html", page=page, names=sheet.names(), **told, **filters)


def back_to(query: str) -> Response:
    return redirect(url_for("office.list_cases") + (f"?{query}" if query else ""), 303)


@signed_in()
def save_view() -> Response:
    """Form: `name`, and the fields of the list's address as it stood."""
    query = write_query(request.form)
    if not query:
        raise Refusal("missing", "query", "This view shows all cases. Narrow the list first, then save the view.")
    with workshop_to_write() as workshop:
        views.save_view(workshop, actor().person_id, request.form.get("view", ""), query)
    flash("The view is saved.")
    return back_to(query)


@signed_in()
def delete_view(view_id: str) -> Response:
    with workshop_to_write() as workshop:
        views.delete_view(workshop, actor().person_id, view_id)
    flash("The view is deleted. The cases are as they were.")
    return back_to("")
