"""The people to whom something can be given, as choices of a form."""

from wtforms.fields import SelectChoice

from webapp.office.forms import offer
from webapp.store import devices, people
from webapp.store.scope import Workshop


def offer_staff(workshop: Workshop, first: str) -> list[SelectChoice]:
    """Active people, those with a phone that is let in first; without one a job waits, and the form says so."""
    carrying = {owner.id for device, owner in devices.list_devices(workshop) if not device.revoked_at}
    active = [person for person in people.list_people(workshop) if person.active]
    rows = sorted(active, key=lambda person: (person.id not in carrying, person.name.casefold(), person.id))
    return offer({row.id: row.name if row.id in carrying else f"{row.name} (no phone paired)" for row in rows}, first)
