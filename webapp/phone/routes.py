"""The phone app's own addresses: the shell, its service worker, the engine, the catalogue and the static files."""

from flask import Blueprint, current_app, render_template
from werkzeug.wrappers import Response

from webapp.access import public
from webapp.phone.assets import Assets, make_asset, send_asset

blueprint = Blueprint("phone", __name__)


def assets() -> Assets:
    return current_app.extensions["railcase.assets"]


def render_shell() -> bytes:
    return render_template("phone/shell.html").encode()


@blueprint.get("/")
@public
def shell() -> Response:
    return send_asset(make_asset(render_shell(), ".html"))


@blueprint.get("/sw.js")
@public
def service_worker() -> Response:
    return send_asset(assets().service_worker(render_shell(), render_template("phone/lost.html")))


@blueprint.get("/pack.json")
@public
def pack() -> Response:
    return send_asset(assets().pack())


@blueprint.get("/manifest.webmanifest")
@public
def manifest() -> Response:
    return send_asset(assets().file("manifest.webmanifest"))


@blueprint.get("/engine.json")
@public
def engine() -> Response:
    return send_asset(assets().engine_bundle())


@blueprint.get("/catalogue.json")
@public
def catalogue() -> Response:
    return send_asset(assets().catalogue)


@blueprint.get("/static/<path:name>")
@public
def static_file(name: str) -> Response:
    return send_asset(assets().file(name))
