"""Moments as text: ISO 8601 UTC with milliseconds, fixed width, so that every database sorts them alike."""

from datetime import UTC, datetime, timedelta


def write_moment(moment: datetime) -> str:
    return moment.astimezone(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def read_moment(text: str) -> datetime:
    """A moment without a zone is taken as UTC."""
    moment = datetime.fromisoformat(text.replace("Z", "+00:00"))
    return moment if moment.tzinfo else moment.replace(tzinfo=UTC)


def now() -> str:
    return write_moment(datetime.now(UTC))


def shift(text: str, seconds: float) -> str:
    """Return the moment that lies `seconds` after (or, negative, before) the given one."""
    return write_moment(read_moment(text) + timedelta(seconds=seconds))
