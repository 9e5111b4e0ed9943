"""Words and formats for pages: the one place where an id or a moment turns into what people read."""

from datetime import datetime

from flask import Flask
from markupsafe import Markup

from webapp import __version__

VERDICTS = {"pass": "Within limits", "fail": "Outside limits", "unclear": "Unclear"}
LEDGER = {"ruled_out": "Ruled out", "open": "Still open", "points_here": "Points here", "locked": "Locked"}
STATES = {"open": "Open", "concluded": "Concluded", "repaired": "Repaired", "confirmed": "Confirmed"}
LISTED_STATES = {**STATES, "needs_review": "Needs review"}
ROLES = {"technician": "Technician", "apprentice": "Apprentice", "office": "Office"}
PUMP = {
    "cleared": "Pump cleared",
    "open": "Pump not judged: evidence is missing",
    "suspected": "Pump suspected, not proven",
    "condemned": "Pump condemned",
}
PUMP_SENTENCES = {
    "cleared": "The high-pressure pump has shown that it makes pressure. It is not the fault.",
    "open": "Whether the high-pressure pump is at fault is not shown. Replacing it now would be a guess.",
    "suspected": "All other parts have been answered for, but the evidence against the pump is short of proof.",
    "condemned": "Every other part has been answered for, and the evidence points at the high-pressure pump.",
}
KINDS = {
    "case_opened": "Case opened",
    "vehicle_set": "Vehicle set",
    "complaint_set": "Complaint set",
    "codes_set": "Codes set",
    "limits_set": "Limits set",
    "step_ticked": "Step ticked",
    "reading_taken": "Reading taken",
    "not_measured": "Could not be measured",
    "reading_voided": "Reading voided",
    "note_added": "Note added",
    "photo_added": "Photo added",
    "caution_acknowledged": "Caution acknowledged",
    "signed_off": "Signed off",
    "gate_overridden": "Pump named all the same",
    "concluded": "Concluded",
    "repair_recorded": "Repair recorded",
    "outcome_confirmed": "Outcome confirmed",
    "reopened": "Reopened",
    "job_assigned": "Job given out",
    "job_seen": "Job seen on the phone",
    "comment_added": "Comment, question or answer",
    "reviewed": "Countersigned",
    "merged_into": "Joined with another case, or separated",
    "case_joined": "Duplicate joined",
}
# A flat disc, a wedge to the right, an open half disc: told apart without colour and by touch of a finger on paper.
SHAPES = {
    "pass": "M5 4.5A9 9 0 1 1 5 19.5Z",
    "fail": "M4 3L22 12L4 21Z",
    "unclear": "M4 5A8 8 0 0 1 20 13L4 13Z",
    "ruled_out": "M5 4.5A9 9 0 1 1 5 19.5Z",
    "points_here": "M4 3L22 12L4 21Z",
    "open": "M4 17A8 8 0 0 1 20 17Z",
    "locked": "M5 11H19V21H5ZM8 11V7A4 4 0 0 1 16 7V11",
}
HOLLOW = {"unclear", "open", "locked"}
RETEST_SHAPES = {"due": "open", "passed": "pass", "failed": "fail", "unclear": "unclear"}


def draw_shape(name: str) -> Markup:
    kind = "shape hollow" if name in HOLLOW else "shape"
    return Markup('<svg class="{}" viewBox="0 0 24 24" aria-hidden="true" focusable="false"><path d="{}"/></svg>').format(
        kind, SHAPES.get(name, SHAPES["unclear"])
    )


def mark(name: str, words: dict[str, str], close: bool = False) -> Markup:
    """A shape and its word; `close` adds the word, never a colour alone."""
    text = words.get(name, name) + (", close" if close else "")
    return Markup('<span class="mark mark-{}">{}<span>{}</span></span>').format(name, draw_shape(name), text)


def write_day_and_time(moment: str | None) -> str:
    """`24 Nov 2026, 09:30 UTC`; a label that is no moment is shown as it is."""
    try:
        return datetime.fromisoformat((moment or "").replace("Z", "+00:00")).strftime("%d %b %Y, %H:%M UTC")
    except ValueError:
        return moment or ""


def write_percent(probability: float) -> str:
    """Whole per cent, but never a false 0 or 100."""
    if 0 < probability < 0.01:
        return "less than 1 %"
    if 0.99 < probability < 1:
        return "more than 99 %"
    return f"{100 * probability:.0f} %"


def install_wording(app: Flask, catalogue: dict) -> None:
    cautions = {row["id"]: row for row in catalogue["cautions"]}
    app.jinja_env.trim_blocks = app.jinja_env.lstrip_blocks = True
    app.jinja_env.filters.update(
        moment=write_day_and_time,
        percent=write_percent,
        verdict=lambda name, close=False: mark(name, VERDICTS, close),
        ledger=lambda name: mark(name, LEDGER),
        retest_shape=lambda name: draw_shape(RETEST_SHAPES.get(name, "unclear")),
        state=lambda name: STATES.get(name, name),
        pump=lambda name: PUMP.get(name, "Pump not judged"),
        pump_sentence=lambda name: PUMP_SENTENCES.get(name, PUMP_SENTENCES["open"]),
        role=lambda name: ROLES.get(name, name),
        kind=lambda name: KINDS.get(name, name),
        caution=lambda name: cautions[name],
    )
    app.jinja_env.globals.update(STATES=STATES, LISTED_STATES=LISTED_STATES, ROLES=ROLES)
    app.jinja_env.globals.update(injury=catalogue["injury"], app_version=__version__)
