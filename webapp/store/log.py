"""The log: entries are appended once, numbered, chained, and never changed.

Within a workshop every entry gets the next `feed` number, within its case the next `position`; `chain` is the SHA-256
over the chain before it and the salted hash of the entry's written form, so that the last one seals the whole case. When
personal data are erased the salt is thrown away and the hash stays: the chain still follows, and nobody can try out what
stood there. Entries from before there were salts are sealed over the written form itself.
"""

import hashlib
import json
import secrets
from typing import NamedTuple

from sqlalchemy import func

from webapp.engine.book import Book
from webapp.store import judging
from webapp.store.devices import find_author, find_owner
from webapp.store.limits import open_workshop_book
from webapp.store.models import Entry
from webapp.store.refusals import NotFound
from webapp.store.scope import Workshop
from webapp.store.shape import read_entry

CHAIN_START = "0" * 64
NO_DIGEST = "0" * 64  # in place of the digest of an erased entry that never had a salt
LARGEST_PAGE_BYTES = 1_000_000
ERASURE = "personal_data_erased"
FROM_DESKS = {  # what only a desk may say; phones drop a case when they hear that it was erased
    ERASURE: "only the office erases personal data; ask there",
    "job_assigned": "only the office gives out jobs; ask there",
    "reviewed": "only the office countersigns; do it at a desk",
    "merged_into": "only the office joins cases; ask there",
    "case_joined": "only the office joins cases; ask there",
}
OFFICE_DEVICE = "office"  # entries written at a desk; phones have a uuid here, so none can be taken for it
# Measuring, repairing and writing down is an apprentice's work; whoever says what it means to the customer, that the vehicle
# is well (the workshop learns from that), or that a colleague's conclusion does not hold, answers for it. As at a desk.
NOT_BY_APPRENTICES = {
    "signed_off": "let a technician or the office sign off",
    "gate_overridden": "let a technician or the office answer for naming the pump",
    "concluded": "let a technician or the office sign the conclusion",
    "outcome_confirmed": "let a technician or the office confirm the outcome",
    "reopened": "let a technician or the office open the case again",
}


class Arrival(NamedTuple):
    """What became of one entry: `stored`, `known` (it was here already) or `refused` with its problems."""

    id: str | None
    status: str
    problems: list[dict]


class Page(NamedTuple):
    entries: list[dict]
    cursor: int
    more: bool


def next_chain(before: str, sealed: str) -> str:
    return hashlib.sha256(f"{before}\n{sealed}".encode()).hexdigest()


def hash_salted(salt: str, content: str) -> str:
    return hashlib.sha256(f"{salt}\n{content}".encode()).hexdigest()


def what_is_sealed(salt: str | None, digest: str | None, content: str) -> str:
    """What the chain is taken over: the salted hash, also where only that is left, or an old entry's written form."""
    return hash_salted(salt, content) if salt else digest or content


def follows(before: str, row: Entry) -> bool:
    """True when a row's chain follows from the one before it. An erased entry from before there were salts tells no more
    than its own chain: what follows it, and the statement of the erasure, hold that."""
    if row.digest == NO_DIGEST:
        return True
    return row.chain == next_chain(before, what_is_sealed(row.salt, row.digest, row.content))


class Form(NamedTuple):
    """An entry as it was handed in, with its written form and what speaks against it whoever sent it."""

    entry: dict
    id: str | None
    content: str
    problems: list[dict]


def read_form(entry, device: str, book: Book) -> Form:
    content, problems = read_entry(entry)
    if not problems:
        problems = list_problems(entry, device, book)
    entry_id = entry.get("id") if isinstance(entry, dict) else None
    return Form(entry, entry_id if isinstance(entry_id, str) else None, content, problems)


def list_problems(entry: dict, device: str, book: Book) -> list[dict]:
    """What speaks against an entry of sound shape: its sender, its content."""
    if entry["kind"] in FROM_DESKS and device != OFFICE_DEVICE:
        return [{"code": "not_allowed", "field": "kind", "text": f"kind: {FROM_DESKS[entry['kind']]}"}]
    if entry["device"] == device:
        return judging.list_problems(entry, book)
    text = f"device: {entry['device']!r} is not the phone that sends it; send it from that phone"
    return [{"code": "wrong_device", "field": "device", "text": text}]


def list_role_problems(workshop: Workshop, entry: dict) -> list[dict]:
    """Some words are not an apprentice's to say, nor anybody's on an apprentice's phone: a name is easily written."""
    if entry["kind"] not in NOT_BY_APPRENTICES:
        return []
    concerned = find_author(workshop, entry["by"], entry["device"]), find_owner(workshop, entry["device"])
    author = next((person for person in concerned if person and person.role == "apprentice"), None)
    if author is None:
        return []
    return [
        {
            "code": "not_allowed",
            "field": "by",
            "text": f"by: {author.name} is an apprentice; {NOT_BY_APPRENTICES[entry['kind']]}",
        }
    ]


def find_known(workshop: Workshop, ids: set[str]) -> dict[str, str | None]:
    """Written form by id of those entries of a batch that are stored already; None where words were erased since."""
    found = workshop.all(workshop.select(Entry, Entry.id, Entry.content, Entry.digest).where(Entry.id.in_(ids)))
    return {entry_id: None if digest else content for entry_id, content, digest in found}


def find_heads(workshop: Workshop, case_ids: set[str]) -> dict[str, tuple[int, str]]:
    """Position and chain of the last entry of each case."""
    ends = workshop.select(Entry, Entry.case_id, func.max(Entry.position).label("position"))
    last = ends.where(Entry.case_id.in_(case_ids)).group_by(Entry.case_id).subquery()
    wanted = workshop.select(Entry, Entry.case_id, Entry.position, Entry.chain)
    wanted = wanted.join(last, (last.c.case_id == Entry.case_id) & (last.c.position == Entry.position))
    return {case_id: (position, chain) for case_id, position, chain in workshop.all(wanted)}


class Appender:
    """Takes the entries of one batch in turn; `rows` are the new ones. What needs no database is done before the lock."""

    def __init__(self, workshop: Workshop, device: str, entries: list, moment: str):
        self.workshop, self.moment = workshop, moment
        book = open_workshop_book(workshop)
        self.forms = [read_form(entry, device, book) for entry in entries]
        self.row = workshop.lock()
        self.known = find_known(workshop, {form.id for form in self.forms if form.id})
        self.heads = find_heads(workshop, {form.entry["case"] for form in self.forms if form.content})
        self.rows: list[dict] = []

    def take(self, form: Form) -> Arrival:
        if form.id in self.known:
            return self.compare(form)
        problems = form.problems or list_role_problems(self.workshop, form.entry)
        if problems:
            return Arrival(form.id, "refused", problems)
        self.keep(form)
        return Arrival(form.id, "stored", [])

    def compare(self, form: Form) -> Arrival:
        """The same entry again is welcome, even one that would be refused by now."""
        kept = self.known[form.id or ""]
        if kept is None or form.content == kept:
            return Arrival(form.id, "known", [])
        text = f"id: {form.id} is stored already with other content; an entry never changes, record it anew"
        return Arrival(form.id, "refused", [{"code": "conflicting_copy", "field": "id", "text": text}])

    def keep(self, form: Form) -> None:
        entry, content = form.entry, form.content
        before, chain = self.heads.get(entry["case"], (0, CHAIN_START))
        salt = secrets.token_hex(16)
        position, chain = before + 1, next_chain(chain, hash_salted(salt, content))
        self.heads[entry["case"]] = position, chain
        self.known[entry["id"]] = content
        self.rows.append(
            {
                "id": entry["id"],
                "case_id": entry["case"],
                "device": entry["device"],
                "kind": entry["kind"],
                "content": content,
                "feed": self.row.last_feed + len(self.rows) + 1,
                "position": position,
                "chain": chain,
                "salt": salt,
                "received_at": self.moment,
            }
        )

    def write(self) -> None:
        self.workshop.add_many(Entry, self.rows)
        self.row.last_feed += len(self.rows)
        self.workshop.session.flush()


class Appended(NamedTuple):
    """One arrival per entry, in order; the rows that were written; the workshop's last feed number after them."""

    arrivals: list[Arrival]
    rows: list[dict]
    end: int


def append(workshop: Workshop, entries: list, device: str, moment: str) -> Appended:
    """Append a batch in its order. A refused entry does not hold up the others."""
    appender = Appender(workshop, device, entries, moment)
    arrivals = [appender.take(form) for form in appender.forms]
    appender.write()
    return Appended(arrivals, appender.rows, appender.row.last_feed)


def read_rows(workshop: Workshop, case_id: str) -> list[Entry]:
    return workshop.all(workshop.select(Entry).where(Entry.case_id == case_id).order_by(Entry.position))


def find_workshop_of(workshops: list[Workshop], case_id: str) -> Workshop:
    """The workshop that has a case; used by the command line only."""
    found = next((workshop for workshop in workshops if length(workshop, case_id)), None)
    if found is None:
        raise NotFound(f"case: {case_id[:60]!r} is not here; take the number from its page or report")
    return found


def length(workshop: Workshop, case_id: str) -> int:
    """How many entries a case has."""
    wanted = workshop.select(Entry, Entry.position).where(Entry.case_id == case_id)
    return workshop.first(wanted.order_by(Entry.position.desc())) or 0


def next_seq(workshop: Workshop, device: str) -> int:
    """The next running number of a device whose entries are made here."""
    wanted = workshop.select(Entry, Entry.content).where(Entry.device == device).order_by(Entry.feed.desc())
    last = workshop.first(wanted)
    return json.loads(last)["seq"] + 1 if last else 1


def count_entries(workshop: Workshop, device: str) -> int:
    """How many entries of one device are here. It never falls, unless the database was put back from a backup."""
    return workshop.first(workshop.select(Entry, func.count()).where(Entry.device == device))


def list_case_ids(workshop: Workshop) -> list[str]:
    return workshop.all(workshop.select(Entry, Entry.case_id).distinct().order_by(Entry.case_id))


def read_after(workshop: Workshop, end: int, cursor: int, skip_device: str | None, limit: int = 500) -> Page:
    """Entries of other devices (or, with None, of all) after a cursor. A cursor from the future (the database was restored
    from a copy) starts anew: entries are a set, so sending some twice does no harm. `end` is the workshop's last feed
    number, read under its lock or in the same view."""
    start = cursor if cursor <= end else 0
    wanted = workshop.select(Entry, Entry.feed, Entry.content).where(Entry.feed > start)
    if skip_device is not None:
        wanted = wanted.where(Entry.device != skip_device)
    found = workshop.all(wanted.order_by(Entry.feed).limit(limit + 1))
    taken: list[tuple[int, str]] = []
    size = 0
    for feed, content in found[:limit]:
        size += len(content)
        if taken and size > LARGEST_PAGE_BYTES:
            break
        taken.append((feed, content))
    more = len(taken) < len(found)
    return Page([json.loads(content) for _, content in taken], taken[-1][0] if more else end, more)


def verify_case(workshop: Workshop, case_id: str) -> int | None:
    """The position of the first entry whose chain does not follow from those before it; None when all is whole."""
    chain = CHAIN_START
    for place, row in enumerate(read_rows(workshop, case_id), start=1):
        if row.position != place or not follows(chain, row):
            return place
        chain = row.chain
    return None
