"""The printable report of a case."""

from flask import Blueprint

blueprint = Blueprint("report", __name__)
