"""Countersigning: a person of the office has looked at what was finished, and answers for having looked.

A case needs that when it is finished on the phone (concluded or later), when the pump was named without proof, or when the
server's answer differs from the phone's. A countersignature names how many deciding entries its author saw; the engine
says whether the log still has just these (`review.holds`), so one that comes late from a phone asks for another look.
"""

from webapp.engine.entries import count_decisive
from webapp.store import cases
from webapp.store.compare import list_reasons
from webapp.store.refusals import Conflict
from webapp.store.scope import Workshop


def count_seen(whole: cases.WholeCase) -> int:
    """What somebody who looks at the case now answers for."""
    return count_decisive([{"kind": row.kind} for row in whole.log])


def countersign(workshop: Workshop, case_id: str, person_id: str, seen: int, text: str) -> None:
    """*Refuses* with Conflict when the case has grown since it was looked at, and when there is nothing to countersign."""
    workshop.lock()
    whole = cases.get_case(workshop, case_id)
    if not list_reasons(whole.document, whole.assessment):
        raise Conflict("not_due", "", "This case does not ask for a review just now. Look at it again.")
    if seen != count_seen(whole):
        raise Conflict("changed", "seen", "The case has changed since you looked. Read it once more, then countersign.")
    cases.write_entry(workshop, case_id, person_id, "reviewed", {"text": text, "seen": seen})
