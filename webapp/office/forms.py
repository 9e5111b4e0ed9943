"""Forms of the office pages."""

from flask_wtf import FlaskForm
from wtforms import (
    BooleanField,
    HiddenField,
    IntegerField,
    PasswordField,
    SelectField,
    SelectMultipleField,
    StringField,
    TextAreaField,
)
from wtforms.fields import SelectChoice
from wtforms.validators import DataRequired, InputRequired, Length, Optional, ValidationError
from wtforms.widgets import HiddenInput

from webapp.store.people import LONGEST_PASSWORD, SHORTEST_PASSWORD
from webapp.wording import ROLES


def offer(names: dict[str, str], first: str | None = None) -> list[SelectChoice]:
    """Choices of a select field from names by id; with `first` nothing is chosen until somebody chooses."""
    blank = [] if first is None else [SelectChoice(value="", label=first)]
    return blank + [SelectChoice(value=id_, label=name) for id_, name in names.items()]


ROLE_CHOICES = offer(ROLES)
PASSWORD_LENGTH = Length(
    SHORTEST_PASSWORD,
    LONGEST_PASSWORD,
    f"Choose {SHORTEST_PASSWORD} to {LONGEST_PASSWORD} characters; several words are fine.",
)


class NoteForm(FlaskForm):
    text = TextAreaField("Note", [DataRequired("Write the note."), Length(max=4000)], id="note-text")


class OutcomeForm(FlaskForm):
    """What really was at fault, known after the repair."""

    fault = SelectField("What it really was", [DataRequired("Choose what it was.")])
    text = TextAreaField(
        "How this is known", [DataRequired("Write how this is known."), Length(max=4000)], id="outcome-text"
    )


class ReopenForm(FlaskForm):
    reason = StringField("Why the case is opened again", [DataRequired("Write why."), Length(max=1000)])


class JobForm(FlaskForm):
    """A job as the customer tells it; what nobody knows yet stays empty."""

    person = SelectField("Who does it", [DataRequired("Choose who does it.")])
    description = StringField("Vehicle, in a few words", [Length(max=200)])
    registration = StringField("Registration", [Length(max=40)])
    vin = StringField("Vehicle identification number (VIN)", [Length(max=40)])
    complaints = SelectMultipleField("What the customer complains of")
    note = TextAreaField("What the customer says, and where to find the vehicle", [Length(max=4000)])

    def validate_description(self, field) -> None:
        if not any((form.data or "").strip() for form in (field, self.registration, self.vin)):
            raise ValidationError("Write something by which the vehicle is known: words, the registration or the VIN.")


class AssignForm(FlaskForm):
    person = SelectField("Who does it", [DataRequired("Choose who does it.")], id="assign-person")
    note = TextAreaField("What they should know (optional)", [Length(max=4000)], id="assign-note")


class CommentForm(FlaskForm):
    text = TextAreaField("Comment or question", [DataRequired("Write the comment."), Length(max=4000)], id="comment")
    to = SelectField("For whom", default="", id="comment-to")
    question = BooleanField("This is a question: it stays open until somebody answers", id="comment-question")


class AnswerForm(FlaskForm):
    question = HiddenField()
    text = TextAreaField("Answer", [DataRequired("Write the answer."), Length(max=4000)])


class ReviewForm(FlaskForm):
    seen = IntegerField(widget=HiddenInput(), validators=[InputRequired("Open the case again, then countersign.")])
    text = TextAreaField("Remark for the report (optional)", [Length(max=4000)], id="review-text")


class PersonForm(FlaskForm):
    name = StringField("Name", [DataRequired("Write the name."), Length(max=200)])
    role = SelectField("Role", choices=ROLE_CHOICES)
    login = StringField("Login (leave empty for phone only)", [Optional(), Length(max=200)])
    password = PasswordField("Password (leave empty for phone only)", [Optional(), PASSWORD_LENGTH])


class RoleForm(FlaskForm):
    role = SelectField("Role", choices=ROLE_CHOICES)


class NewPasswordForm(FlaskForm):
    password = PasswordField("New password", [DataRequired("Write the new password."), PASSWORD_LENGTH])


class PairingForm(FlaskForm):
    person = SelectField("Whose phone is it?", [DataRequired("Choose a person.")])
