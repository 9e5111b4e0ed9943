"""Pages of the office."""

from flask import Blueprint, render_template

from webapp.access import public, signed_in

blueprint = Blueprint("office", __name__)


@blueprint.get("/injury")
@public
def injury() -> str:
    return render_template("office/injury.html")


@blueprint.get("/office/")
@signed_in()
def list_cases() -> str:
    return render_template("office/cases.html")
