"""Forms of the office pages."""

from flask_wtf import FlaskForm
from wtforms import PasswordField, SelectField, StringField, TextAreaField
from wtforms.fields import SelectChoice
from wtforms.validators import DataRequired, Length, Optional

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
    text = TextAreaField("Note", [DataRequired("Write the note."), Length(max=4000)])


class OutcomeForm(FlaskForm):
    """What really was at fault, known after the repair."""

    fault = SelectField("What it really was", [DataRequired("Choose what it was.")])
    text = TextAreaField("How this is known", [DataRequired("Write how this is known."), Length(max=4000)])


class ReopenForm(FlaskForm):
    reason = StringField("Why the case is opened again", [DataRequired("Write why."), Length(max=1000)])


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
