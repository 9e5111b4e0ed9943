"""The workshop's own instruments: the list with what is due, adding one, and each one's versions."""

import json

from flask import flash, redirect, render_template, url_for
from flask_wtf import FlaskForm
from werkzeug.wrappers import Response
from wtforms import BooleanField, DateField, DecimalField, IntegerField, SelectField, StringField
from wtforms.validators import DataRequired, InputRequired, Length, NumberRange, Optional

from webapp.access import actor, signed_in, workshop_to_read, workshop_to_write
from webapp.store import instruments
from webapp.store.people import list_people
from webapp.store.refusals import Refusal
from webapp.store.sheet import names

Page = str | tuple[str, int] | Response
PERCENT = NumberRange(0, 100, "Write a number of per cent from 0 to 100.")
MOST = 1_000_000
REACH = NumberRange(0, MOST, f"Write a number from 0 to {MOST}.")
STATES = {instruments.OVERDUE: "Calibration overdue", instruments.SOON: "Calibration due soon", instruments.FINE: "In order"}


class InstrumentForm(FlaskForm):
    name = StringField("Name, as it is called in the workshop", [DataRequired("Write the name."), Length(max=80)])
    serial = StringField(
        "Serial number", [DataRequired("Write the number; without one, make one up and stick it on."), Length(max=80)]
    )
    like = SelectField("What kind it is")
    accuracy_full_scale = DecimalField("Accuracy, % of full scale", [InputRequired("Write it, or 0."), PERCENT], default=0)
    full_scale = DecimalField("Full scale, in the unit of the kind", [Optional(), REACH])
    accuracy_reading = DecimalField("Accuracy, % of the reading", [InputRequired("Write it, or 0."), PERCENT], default=0)
    resolution = DecimalField(
        "Smallest step it shows, in the unit of the kind", [InputRequired("Write it, or 0."), REACH], default=0
    )
    calibrated_on = DateField("Calibrated on", [InputRequired("Write the day of the calibration.")])
    due_on = DateField("Due again on", [InputRequired("Write the day on which it is due again.")])
    note = StringField("Note, shown on the phone", [Optional(), Length(max=400)])
    retired = BooleanField("No longer in use")
    seen = IntegerField("Version", [Optional()])


def make_form(**kept) -> InstrumentForm:
    form = InstrumentForm(**kept)
    form.like.choices = [
        (id_, f"{row['name']} ({row['unit'] or 'no unit'})") for id_, row in instruments.list_kinds().items()
    ]
    return form


def read_draft(form: InstrumentForm) -> instruments.Draft:
    shares = {name: float(form[name].data) / 100 for name in ("accuracy_full_scale", "accuracy_reading")}
    full_scale = None if form.full_scale.data is None else float(form.full_scale.data)
    figures = {**shares, "full_scale": full_scale, "resolution": float(form.resolution.data)}
    return instruments.Draft(
        form.name.data.strip(), form.serial.data.strip(), form.like.data, figures, form.calibrated_on.data, form.due_on.data,
        (form.note.data or "").strip(), form.retired.data,
    )  # fmt: skip


def fill_form(row: instruments.InstrumentVersion) -> dict:
    figures = json.loads(row.row)
    shares = {name: figures[name] * 100 for name in ("accuracy_full_scale", "accuracy_reading")}
    texts = {name: getattr(row, name) for name in ("name", "serial", "retired")}
    days = {name: instruments.date.fromisoformat(getattr(row, name)) for name in ("calibrated_on", "due_on")}
    return {**figures, **shares, **texts, **days, "seen": row.version}


def blame(form: InstrumentForm, refusal: Refusal) -> None:
    """Say what the store refused at the field that it names."""
    problem = refusal.problems[0]
    place = form._fields.get(problem["field"], form.name)
    place.errors = [*place.errors, problem["text"]]


def render_list(status: int = 200, form: InstrumentForm | None = None) -> Page:
    with workshop_to_read() as workshop:
        rows = [(row, instruments.tell_state(row)) for row in instruments.list_newest(workshop)]
    page = render_template(
        "office/instruments.html",
        rows=rows,
        states=STATES,
        form=form or make_form(formdata=None),
        days=instruments.REMIND_DAYS,
    )
    return page, status


@signed_in("technician", "office")
def list_instruments() -> Page:
    return render_list()


@signed_in("office")
def add_instrument() -> Page:
    form = make_form()
    if not form.validate_on_submit():
        return render_list(422, form)
    try:
        with workshop_to_write() as workshop:
            instruments.add(workshop, read_draft(form), actor().person_id)
    except Refusal as refusal:
        blame(form, refusal)
        return render_list(refusal.status, form)
    flash(f"{form.name.data} is in the list. Phones offer it after their next contact.")
    return redirect(url_for("office.list_instruments"), 303)


def render_instrument(instrument: str, status: int = 200, form: InstrumentForm | None = None) -> Page:
    with workshop_to_read() as workshop:
        newest = instruments.get_newest(workshop, instrument)
        versions = instruments.list_versions(workshop, instrument)
        people = {person.id: person.name for person in list_people(workshop)}
    about = json.loads(newest.row)
    page = render_template(
        "office/instrument.html", row=newest, versions=versions, people=people, state=instruments.tell_state(newest),
        states=STATES, form=form or make_form(formdata=None, data=fill_form(newest)),
        reads=[names()["quantities"][name] for name in about["quantities"]],
    )  # fmt: skip
    return page, status


@signed_in("technician", "office")
def show_instrument(instrument: str) -> Page:
    return render_instrument(instrument)


@signed_in("office")
def change_instrument(instrument: str) -> Page:
    form = make_form()
    if not form.validate_on_submit():
        return render_instrument(instrument, 422, form)
    try:
        with workshop_to_write() as workshop:
            row = instruments.change(workshop, instrument, form.seen.data or 0, read_draft(form), actor().person_id)
    except Refusal as refusal:
        if refusal.status == 404:
            raise
        blame(form, refusal)
        return render_instrument(instrument, refusal.status, form)
    flash(f"Version {row.version} holds from now on. What was read before stays judged as it was.")
    return redirect(url_for("office.show_instrument", instrument=instrument), 303)
