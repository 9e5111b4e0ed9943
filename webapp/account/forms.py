"""Forms of the account pages."""

from flask_wtf import FlaskForm
from wtforms import PasswordField, StringField
from wtforms.validators import DataRequired, EqualTo, Length

from webapp.store.people import LONGEST_PASSWORD, SHORTEST_PASSWORD

NEW_PASSWORD = [
    DataRequired("Write the new password."),
    Length(
        SHORTEST_PASSWORD,
        LONGEST_PASSWORD,
        f"Choose {SHORTEST_PASSWORD} to {LONGEST_PASSWORD} characters; several words are fine.",
    ),
]


class SignInForm(FlaskForm):
    login = StringField("Login", [DataRequired("Write your login."), Length(max=200)])
    password = PasswordField("Password", [DataRequired("Write your password."), Length(max=1024)])


class PasswordForm(FlaskForm):
    current = PasswordField("Password now", [DataRequired("Write the password that you use now."), Length(max=1024)])
    password = PasswordField("New password", NEW_PASSWORD)
    again = PasswordField("New password again", [EqualTo("password", "The two new passwords differ; write them again.")])
