"""Saved views: questions to the list of cases that a person asks often, under a name, for nobody else."""

from webapp.store.models import SavedView
from webapp.store.people import clean_line
from webapp.store.refusals import Conflict, NotFound
from webapp.store.scope import Workshop, new_id

LONGEST_NAME, LONGEST_QUERY = 80, 1000
MOST_VIEWS = 30


def list_views(workshop: Workshop, person_id: str) -> list[SavedView]:
    wanted = workshop.select(SavedView).where(SavedView.person_id == person_id)
    return workshop.all(wanted.order_by(SavedView.name, SavedView.id))


def save_view(workshop: Workshop, person_id: str, name: str, query: str) -> None:
    """Keep a view; one of that name is replaced. *Refuses* an empty or over-long name, and more than MOST_VIEWS."""
    name = clean_line(name, "name", LONGEST_NAME)
    workshop.lock()
    kept = list_views(workshop, person_id)
    found = next((view for view in kept if view.name == name), None)
    if found is None and len(kept) >= MOST_VIEWS:
        raise Conflict("too_many", "name", f"name: you have {MOST_VIEWS} views already; delete one first")
    view = found or workshop.add(SavedView(id=new_id(), person_id=person_id, name=name))
    view.query = query[:LONGEST_QUERY]


def delete_view(workshop: Workshop, person_id: str, view_id: str) -> None:
    wanted = workshop.select(SavedView).where(SavedView.id == view_id, SavedView.person_id == person_id)
    view = workshop.first(wanted)
    if view is None:
        raise NotFound("You have no such view. Go back to the list of cases.")
    workshop.session.delete(view)
