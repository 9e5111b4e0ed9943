"""Pages on which the office keeps the workshop's limits: enter or import, look at what would change, publish."""

import json
from typing import Any

from flask import Response as File
from flask import abort, flash, redirect, render_template, request, url_for
from flask_wtf import FlaskForm
from flask_wtf.file import FileField, FileRequired
from werkzeug.wrappers import Response
from wtforms import BooleanField, HiddenField, IntegerField, SelectField, SelectMultipleField, StringField
from wtforms.validators import DataRequired, InputRequired, Length, Optional

from webapp.access import actor, database, signed_in, workshop_to_read, workshop_to_write
from webapp.library.schemas import LIMIT_BASES
from webapp.office.forms import offer
from webapp.store import cases, insights, limit_effects, limit_files, limits, people, projection, sheet, weights
from webapp.store.moments import now
from webapp.store.refusals import Conflict, NotFound, Refusal

Page = str | tuple[str, int] | Response
KINDS = {"workshop": "Whole workshop", "family": "Engine family", "vehicle": "Single vehicle"}
BASES = {name: name.capitalize() for name in LIMIT_BASES}
FIELDS_OF_KIND = {
    "number": ("low", "high"),
    "choice": ("good",),
    "list": ("low", "high", "ratio_high", "rate_high", "spread_high"),
}
SHORT, LONG = Length(max=200), Length(max=400)


class ProfileForm(FlaskForm):
    name = StringField("Name", [DataRequired("Write the name."), Length(max=limits.LONGEST_NAME)])
    kind = SelectField("What it is for", choices=offer(KINDS))
    base = SelectField("What it builds on")


class LimitForm(FlaskForm):
    """One limit; only the fields of the quantity's kind are kept."""

    low = StringField("At least", [Optional(), Length(max=40)])
    high = StringField("At most", [Optional(), Length(max=40)])
    good = SelectMultipleField("What is good")
    ratio_high = StringField("Each at most so many times the others", [Optional(), Length(max=40)])
    rate_high = StringField("Each at most, a minute", [Optional(), Length(max=40)])
    spread_high = StringField("Spread at most, as a part of the mean", [Optional(), Length(max=40)])
    basis = SelectField("Where it comes from", choices=offer(BASES))
    source = StringField("Title of the source (for a standard, a sheet or a measurement)", [Optional(), LONG])
    edition = StringField("Its edition or date", [Optional(), SHORT])
    clause = StringField("Page or clause", [Optional(), SHORT])
    note = StringField("Note, shown with the verdict", [DataRequired("Write what is to be known about it."), LONG])
    back = BooleanField("Give up this limit and go back to the one it builds on")
    seen = IntegerField("Version", [InputRequired("Open the limit again.")])


class ImportForm(FlaskForm):
    file = FileField("CSV or JSON file of limits", [FileRequired("Choose a file.")])
    seen = IntegerField("Version", [InputRequired("Open the profile again.")])


class PublishForm(FlaskForm):
    changes = HiddenField("Changes", [InputRequired("Enter the limit again.")])
    seen = IntegerField("Version", [InputRequired("Open the profile again.")])
    note = StringField("Why, for the history", [DataRequired("Write why."), LONG])


def name_people(workshop) -> dict[str, str]:
    return {person.id: person.name for person in people.list_people(workshop)}


def name_key(workshop, key: str) -> str:
    """The words for what a case or a profile names."""
    if key == limits.LIBRARY:
        return limits.library_profile()["name"]
    profile = limits.know_profiles(workshop).book.profiles.get(key)
    return f"{profile['name']}, version {profile['version']}" if profile else key


def offer_bases(workshop) -> list:
    own = {row.profile: row.name for row in limits.list_newest(workshop)}
    return offer({limits.LIBRARY: limits.library_profile()["name"], **own})


def render_list(form: ProfileForm, status: int = 200) -> tuple[str, int]:
    with workshop_to_read() as workshop:
        rows = limits.list_newest(workshop)
        form.base.choices = offer(
            {limits.LIBRARY: limits.library_profile()["name"], **{row.profile: row.name for row in rows}}
        )
        bases = {row.profile: name_key(workshop, row.base) for row in rows}
    return render_template("office/limits.html", rows=rows, bases=bases, kinds=KINDS, form=form), status


@signed_in("office")
def list_limits() -> Page:
    return render_list(ProfileForm())


@signed_in("office")
def add_limits() -> Page:
    form = ProfileForm()
    with workshop_to_read() as workshop:
        form.base.choices = offer_bases(workshop)
    if not form.validate_on_submit():
        return render_list(form, 422)
    try:
        with workshop_to_write() as workshop:
            made = limits.add_profile(
                workshop, form.name.data.strip(), form.kind.data, form.base.data, actor().person_id
            ).profile
    except Refusal as refusal:
        form[refusal.problems[0]["field"]].errors = [refusal.problems[0]["text"]]
        return render_list(form, refusal.status)
    return redirect(url_for("office.show_limits", profile=made), 303)


def lay_out(whole: dict[str, dict], own: dict[str, dict]) -> list[dict]:
    """The limits of a version in the catalogue's order, in words."""
    names = limits.quantities()
    return [
        {**whole[name], "name": names[name]["name"], "words": limits.write_words(whole[name]), "is_own": name in own}
        for name in names
        if name in whole
    ]


def read_version_asked() -> int | None:
    asked = request.args.get("version")
    if asked is not None and not (asked.isascii() and asked.isdigit() and len(asked) < 8):
        abort(404)
    return int(asked) if asked else None


def render_profile(profile: str, status: int = 200, form: ImportForm | None = None, problems: list | None = None) -> Page:
    projection.catch_up_quietly(database(), actor().workshop_id)
    with workshop_to_read() as workshop:
        row = limits.get_version(workshop, profile, read_version_asked())
        versions = limits.list_versions(workshop, profile)
        base, _ = limits.find_base(workshop, limits.profile_of(row.base))
        page = render_template(
            "office/limits_profile.html",
            row=row,
            rows=lay_out(limits.read_whole(row), json.loads(row.own)),
            versions=versions,
            is_newest=row.version == versions[0].version,
            kind=KINDS[row.kind],
            base=name_key(workshop, row.base),
            newer_base=name_key(workshop, base) if base != row.base else None,
            people=name_people(workshop),
            behind=limit_effects.list_behind(workshop, profile, versions[0].version),
            form=form or ImportForm(formdata=None, seen=versions[0].version),
            problems=problems or [],
        )
    return page, status


@signed_in("office")
def show_limits(profile: str) -> Page:
    return render_profile(profile)


@signed_in("office")
def export_limits(profile: str) -> Response:
    """Query: `version`, and `as` csv or json."""
    form = request.args.get("as", "csv")
    if form not in ("csv", "json"):
        abort(404)
    with workshop_to_read() as workshop:
        row = limits.get_version(workshop, profile, read_version_asked())
        text = limit_files.write_csv(row) if form == "csv" else limit_files.write_json(row)
        name = f"limits-{limits.make_key(row.profile, row.version)}.{form}"
    type_ = "text/csv; charset=utf-8" if form == "csv" else "application/json"
    return File(text, content_type=type_, headers={"Content-Disposition": f'attachment; filename="{name}"'})


def fit_form(form: LimitForm, quantity: dict) -> LimitForm:
    """Only the fields that a limit of this kind has, with the unit in their words."""
    for name in {field for fields in FIELDS_OF_KIND.values() for field in fields} - set(FIELDS_OF_KIND[quantity["kind"]]):
        del form[name]
    for name in (name for name in ("low", "high", "rate_high") if name in form):
        form[name].label.text += f" ({quantity['unit']})"
    if "good" in form:
        form.good.choices = [(row["id"], row["name"]) for row in quantity["choices"]]
    return form


def fill_form(row: dict, seen: int) -> dict[str, Any]:
    source = row["source"] or {}
    numbers = {name: "" if row[name] is None else f"{row[name]:g}" for name in limit_files.NUMBERS}
    texts = {"source": source.get("title"), "edition": source.get("edition"), "clause": source.get("clause")}
    return {**numbers, **texts, "good": row["good"], "basis": row["basis"], "note": row["note"], "seen": seen}


def render_limit(profile: str, quantity: str, form: LimitForm | None = None, status: int = 200) -> Page:
    about = limits.quantities().get(quantity)
    if about is None:
        raise NotFound("There is no such quantity. Go back to the profile.")
    with workshop_to_read() as workshop:
        row = limits.get_version(workshop, profile)
        limit = limits.read_whole(row)[quantity]
        is_own = quantity in json.loads(row.own)
    form = form or fit_form(LimitForm(formdata=None, data=fill_form(limit, row.version)), about)
    shown = [form[name] for name in (*FIELDS_OF_KIND[about["kind"]], "basis", "source", "edition", "clause", "note")]
    page = render_template(
        "office/limits_edit.html",
        row=row,
        about=about,
        limit=limit,
        words=limits.write_words(limit),
        form=form,
        shown=shown,
        is_own=is_own,
    )
    return page, status


def fill_learnt(profile: str, quantity: str) -> LimitForm:
    """The form as the insights propose it. *Refuses* when they propose nothing (any more)."""
    about = limits.quantities().get(quantity) or {}
    projection.catch_up_quietly(database(), actor().workshop_id)
    with workshop_to_read() as workshop:
        row = limits.get_version(workshop, profile)
        found = insights.find_proposal(workshop, profile, quantity)
        limit = limits.read_whole(row).get(quantity)
    if found is None or limit is None:
        raise NotFound("Nothing is proposed for this limit any more. Go back to what the jobs teach.")
    count = f"{found.bounds.size} confirmed sound vehicles"
    learnt = {
        **limit, "low": found.low, "high": found.high, "basis": "measured", "note": f"Learnt from {count}.",
        "source": {"title": f"The workshop's own readings on {count}", "edition": now()[:10], "clause": None},
    }  # fmt: skip
    return fit_form(LimitForm(formdata=None, data=fill_form(learnt, row.version)), about)


@signed_in("office")
def edit_limit(profile: str, quantity: str) -> Page:
    """Query: `learnt` fills in what the insights propose."""
    return render_limit(profile, quantity, fill_learnt(profile, quantity) if "learnt" in request.args else None)


def read_limit(form: LimitForm, limit: dict) -> dict | None:
    """The limit as it was entered, or None with the errors at their fields."""
    row = {**limit, "basis": form.basis.data, "note": form.note.data, "checked_on": None, "checked_by": None}
    texts = {"title": form.source.data or None, "edition": form.edition.data or None, "clause": form.clause.data or None}
    row["source"] = texts if any(texts.values()) else None
    if "good" in form:
        row["good"] = form.good.data
    for name in (name for name in limit_files.NUMBERS if name in form):
        row[name] = limit_files.read_number(form[name].data or "", comma=True)
        if isinstance(row[name], str):
            form[name].errors = [f"{row[name]}; write a plain number such as 2.5"]
    if form.errors:
        return None
    for field, text in limits.list_flaws(row):
        place = form._fields.get(limit_files.name_in_file(field), form.note)
        place.errors = [*place.errors, text]
    return None if form.errors else row


@signed_in("office")
def preview_limit(profile: str, quantity: str) -> Page:
    about = limits.quantities().get(quantity)
    if about is None:
        raise NotFound("There is no such quantity. Go back to the profile.")
    form = fit_form(LimitForm(), about)
    with workshop_to_read() as workshop:
        limit = limits.read_whole(limits.get_version(workshop, profile))[quantity]
    if form.back.data and form.seen.data:
        return review(profile, form.seen.data, {quantity: None})
    row = read_limit(form, limit) if form.validate_on_submit() else None
    if row is None:
        return render_limit(profile, quantity, form, 422)
    return review(profile, form.seen.data, {quantity: row})


@signed_in("office")
def import_limits(profile: str) -> Page:
    form = ImportForm()
    if not form.validate_on_submit():
        return render_profile(profile, 422, form)
    with workshop_to_read() as workshop:
        whole = limits.read_whole(limits.get_version(workshop, profile))
    try:
        changes = limit_files.read_file(form.file.data.read(limit_files.LARGEST_BYTES + 1), whole)
    except limit_files.BadFile as refusal:
        return render_profile(profile, 422, form, refusal.problems)
    return review(profile, form.seen.data, changes)


def review(profile: str, seen: int, changes: dict, form: PublishForm | None = None, status: int = 200) -> Page:
    """What would be published, what it would do to cases, and what somebody else published since version `seen`."""
    projection.catch_up_quietly(database(), actor().workshop_id)
    with workshop_to_read() as workshop:
        newest = limits.get_version(workshop, profile)
        made = limits.draft(workshop, newest, changes)
        others = limits.list_published_since(workshop, profile, seen)
        known = limits.read_whole(limits.get_version(workshop, profile, seen)) if others else {}
        form = form or PublishForm(formdata=None)
        form.changes.data, form.seen.data = json.dumps(changes), newest.version
        page = render_template(
            "office/limits_review.html",
            made=made,
            base=name_key(workshop, made.base),
            changed=limits.list_changed(limits.read_whole(newest), made.whole),
            effects=limit_effects.list_effects(workshop, made),
            others=others,
            others_changed=limits.list_changed(known, limits.read_whole(newest)) if others else [],
            people=name_people(workshop),
            faults=sheet.names()["faults"],
            form=form,
        )
    return page, 409 if others else status


def read_changes(text: str) -> dict:
    try:
        return limits.check_changes(json.loads(text))
    except (ValueError, RecursionError):
        raise Refusal("not_accepted", "changes", "changes: not readable; enter the limit again") from None


@signed_in("office")
def publish_limits(profile: str) -> Page:
    """Without `go` only shows what it would do."""
    form = PublishForm()
    if not form.changes.data or not form.seen.data:
        raise Refusal("missing", "changes", "changes: nothing was sent to publish; open the profile and enter the limit")
    changes, seen = read_changes(form.changes.data), form.seen.data
    if "go" not in request.form:
        return review(profile, seen, changes)
    if not form.validate_on_submit():
        return review(profile, seen, changes, form, 422)
    try:
        with workshop_to_write() as workshop:
            me = actor()
            version = limits.publish(workshop, profile, seen, changes, form.note.data, me.person_id, me.name).version
    except Conflict:
        return review(profile, seen, changes, form, 409)
    flash(f"Version {version} is published. Cases stay on the version that they name until somebody moves them.")
    return redirect(url_for("office.show_limits", profile=profile), 303)


def list_choices(workshop, now: str) -> dict[str, str]:
    """What a case can be judged under: the library, the newest of each profile, and what it names now."""
    keys = [limits.LIBRARY, *(limits.make_key(row.profile, row.version) for row in limits.list_newest(workshop))]
    return {key: name_key(workshop, key) for key in dict.fromkeys([*keys, now])}


def read_now(document: dict) -> tuple[str, str]:
    """Keys of the limits and the weights that a case is judged by."""
    chosen = document.get("limits") or {}
    return chosen.get("profile") or limits.LIBRARY, chosen.get("weights") or weights.DELIVERED


def read_choice(given, now: tuple[str, str], choices, weight_choices) -> tuple[str, str]:
    """Limits and weights to judge by, from a query or a form; weights stay as they are when none are named. *Refuses* what
    is not in the lists."""
    under, learnt = given.get("under", ""), given.get("weights", now[1])
    if under not in choices:
        raise Refusal("not_a_choice", "under", f"under: {under[:40]!r} is not known; choose limits from the list")
    if learnt not in weight_choices:
        raise Refusal("not_a_choice", "weights", f"weights: {learnt[:40]!r} are not known; choose weights from the list")
    return under, learnt


@signed_in("office")
def compare_limits(case_id: str) -> Page:
    """Query: `under` the key of other limits, `weights` that of other weights of the faults."""
    with workshop_to_read() as workshop:
        found = cases.get_case(workshop, case_id)
        now = read_now(found.document)
        choices, weight_choices = list_choices(workshop, now[0]), weights.name_all(workshop)
        if request.args.get("under", now[0]) not in choices or request.args.get("weights", now[1]) not in weight_choices:
            abort(404)
        under = read_choice(request.args, now, choices, weight_choices) if "under" in request.args else None
        sides = limit_effects.compare_under(workshop, found.document, found.assessment, *under) if under else None
        faults = sheet.names()["faults"]
    return render_template(
        "office/limits_case.html", row=found.row, now=now, choices=choices, weight_choices=weight_choices,
        under=under, sides=sides, faults=faults,
    )  # fmt: skip


@signed_in("office")
def choose_limits(case_id: str) -> Page:
    with workshop_to_write() as workshop:
        known = limits.know_profiles(workshop).book.profiles
        now = read_now(cases.get_case(workshop, case_id).document)
        under, learnt = read_choice(request.form, now, known, weights.name_all(workshop))
        body = {"profile": under, "weights": learnt}
        cases.write_entry(workshop, case_id, actor().person_id, "limits_set", body)
        told = name_key(workshop, under)
    flash(f"The case is judged under {told} from now on. What was concluded before stands in the log as it was.")
    return redirect(url_for("office.show_case", case_id=case_id), 303)
