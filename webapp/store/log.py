"""The log: entries are appended once, numbered, chained, and never changed.

Within a workshop every entry gets the next `feed` number, within its case the next `position`; `chain` is the SHA-256
over the chain before it and the entry's written form, so that the last one seals the whole case.
"""

import hashlib
import json
from typing import NamedTuple

from webapp.store import judging
from webapp.store.devices import find_author
from webapp.store.models import Entry
from webapp.store.scope import Workshop
from webapp.store.shape import list_shape_problems, write_content

CHAIN_START = "0" * 64
LARGEST_PAGE_BYTES = 1_000_000
NOT_BY_APPRENTICES = {
    "signed_off": "let a technician or the office sign off",
    "gate_overridden": "let a technician or the office answer for naming the pump",
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


def next_chain(before: str, content: str) -> str:
    return hashlib.sha256(f"{before}\n{content}".encode()).hexdigest()


def list_problems(workshop: Workshop, entry: dict, device: str) -> list[dict]:
    """What speaks against a new entry: its shape, its sender, its content, and for some kinds its author's role."""
    problems = list_shape_problems(entry)
    if problems:
        return problems
    if entry["device"] != device:
        return [
            {
                "code": "wrong_device",
                "field": "device",
                "text": f"device: {entry['device']!r} is not the phone that sends it; send it from that phone",
            }
        ]
    return judging.list_problems(entry) or list_role_problems(workshop, entry)


def list_role_problems(workshop: Workshop, entry: dict) -> list[dict]:
    author = find_author(workshop, entry["by"], entry["device"]) if entry["kind"] in NOT_BY_APPRENTICES else None
    if author is None or author.role != "apprentice":
        return []
    return [
        {
            "code": "not_allowed",
            "field": "by",
            "text": f"by: {author.name} is an apprentice; {NOT_BY_APPRENTICES[entry['kind']]}",
        }
    ]


def find_known(workshop: Workshop, entries: list) -> dict[str, str]:
    """Written form by id of those entries of a batch that are stored already."""
    ids = [entry["id"] for entry in entries if isinstance(entry, dict) and isinstance(entry.get("id"), str)]
    return dict(workshop.all(workshop.select(Entry, Entry.id, Entry.content).where(Entry.id.in_(ids))))


class Appender:
    """Takes the entries of one batch in turn; `rows` are the new ones."""

    def __init__(self, workshop: Workshop, entries: list, moment: str):
        self.workshop, self.moment = workshop, moment
        self.row = workshop.lock()
        self.known = find_known(workshop, entries)
        self.rows: list[dict] = []
        self.heads: dict[str, tuple[int, str]] = {}

    def take(self, entry, problems_of) -> Arrival:
        entry_id = entry.get("id") if isinstance(entry, dict) and isinstance(entry.get("id"), str) else None
        if entry_id in self.known:
            return self.compare(entry, entry_id)
        problems = problems_of(entry)
        if problems:
            return Arrival(entry_id, "refused", problems)
        self.keep(entry)
        return Arrival(entry_id, "stored", [])

    def compare(self, entry: dict, entry_id: str) -> Arrival:
        try:
            same = write_content(entry) == self.known[entry_id]
        except (ValueError, RecursionError):
            same = False
        if same:
            return Arrival(entry_id, "known", [])
        text = f"id: {entry_id} is stored already with other content; an entry never changes, record it anew"
        return Arrival(entry_id, "refused", [{"code": "conflicting_copy", "field": "id", "text": text}])

    def head(self, case_id: str) -> tuple[int, str]:
        """Position and chain of the case's last entry."""
        if case_id not in self.heads:
            wanted = self.workshop.select(Entry, Entry.position, Entry.chain).where(Entry.case_id == case_id)
            self.heads[case_id] = self.workshop.first(wanted.order_by(Entry.position.desc())) or (0, CHAIN_START)
        return self.heads[case_id]

    def keep(self, entry: dict) -> None:
        content, (position, chain) = write_content(entry), self.head(entry["case"])
        self.row.last_feed += 1
        self.heads[entry["case"]] = position + 1, next_chain(chain, content)
        self.known[entry["id"]] = content
        self.rows.append(
            {
                "id": entry["id"],
                "case_id": entry["case"],
                "device": entry["device"],
                "kind": entry["kind"],
                "content": content,
                "feed": self.row.last_feed,
                "position": position + 1,
                "chain": self.heads[entry["case"]][1],
                "received_at": self.moment,
            }
        )


def append(workshop: Workshop, entries: list, device: str, moment: str) -> tuple[list[Arrival], set[str]]:
    """Append a batch in its order. A refused entry does not hold up the others.

    *Returns* one arrival per entry, in order, and the ids of the cases that have grown.
    """
    appender = Appender(workshop, entries, moment)
    arrivals = [appender.take(entry, lambda e: list_problems(workshop, e, device)) for entry in entries]
    workshop.session.flush()
    workshop.add_many(Entry, appender.rows)
    return arrivals, {row["case_id"] for row in appender.rows}


def read_rows(workshop: Workshop, case_id: str) -> list[Entry]:
    return workshop.all(workshop.select(Entry).where(Entry.case_id == case_id).order_by(Entry.position))


def next_seq(workshop: Workshop, device: str) -> int:
    """The next running number of a device whose entries are made here."""
    wanted = workshop.select(Entry, Entry.content).where(Entry.device == device).order_by(Entry.feed.desc())
    last = workshop.first(wanted)
    return json.loads(last)["seq"] + 1 if last else 1


def list_case_ids(workshop: Workshop) -> list[str]:
    return workshop.all(workshop.select(Entry, Entry.case_id).distinct().order_by(Entry.case_id))


def read_after(workshop: Workshop, cursor: int, skip_device: str | None, limit: int = 500) -> Page:
    """Entries of other devices (or, with None, of all) after a cursor. A cursor from the future (the database was restored
    from a copy) starts anew: entries are a set, so sending some twice does no harm."""
    end = workshop.row().last_feed
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
        chain = next_chain(chain, row.content)
        if (row.position, row.chain) != (place, chain):
            return place
    return None
