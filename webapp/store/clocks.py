"""A phone's clock decides nothing here; its owner is told when it is so far off that dates on the case will look wrong."""

from webapp.store.moments import read_moment

MOST_S = 600  # judgement: more than any slow link, less than anybody misreads a time of day by


def compare(sent_at: str | None, received_at: str) -> dict | None:
    """How far the phone's clock runs ahead of ours, with words for its owner; None within ten minutes, or when not said."""
    if sent_at is None:
        return None
    off_s = round((read_moment(sent_at) - read_moment(received_at)).total_seconds())
    if abs(off_s) <= MOST_S:
        return None
    way = "ahead" if off_s > 0 else "behind"
    text = (
        f"The clock of this phone is {write_span(abs(off_s))} {way}. Set date and time in the phone's settings. "
        "Nothing is lost and the order of entries is right, but they show a wrong time."
    )
    return {"off_s": off_s, "text": text}


def write_span(seconds: int) -> str:
    for size, word in ((86_400, "days"), (3_600, "hours"), (60, "minutes")):
        if seconds >= 2 * size:
            return f"{seconds // size} {word}"
    return f"{seconds} seconds"
