"""Puts the server together."""

from pathlib import Path

from flask import Flask
from werkzeug.middleware.proxy_fix import ProxyFix

from webapp import about, access, account, errors, observe
from webapp.account.routes import blueprint as account_pages
from webapp.circuit import draw_circuit
from webapp.library.loader import load_catalogue
from webapp.office.routes import blueprint as office_pages
from webapp.phone.api import blueprint as phone_api
from webapp.phone.assets import Assets
from webapp.phone.routes import blueprint as phone_pages
from webapp.report.routes import blueprint as report_pages
from webapp.settings import Settings, load_settings
from webapp.store.db import Database
from webapp.wording import install_wording

HERE = Path(__file__).parent
LARGEST_REQUEST_BYTES = 1_000_000


def find_static() -> Path:
    """Inside the package when it was installed from a wheel, beside it in a checkout."""
    inside = HERE / "static"
    return inside if inside.is_dir() else HERE.parent / "static"


def configure(app: Flask, settings: Settings) -> None:
    app.config.update(
        SECRET_KEY=settings.secret_key,
        MAX_CONTENT_LENGTH=LARGEST_REQUEST_BYTES,
        SESSION_COOKIE_NAME="__Host-railcase" if settings.https else "railcase",
        SESSION_COOKIE_SECURE=settings.https,
        SESSION_COOKIE_HTTPONLY=True,
        SESSION_COOKIE_SAMESITE="Lax",
        WTF_CSRF_TIME_LIMIT=None,  # a form lives as long as its sign-in: what was typed over lunch is not lost
        PREFERRED_URL_SCHEME="https" if settings.https else "http",
        RAILCASE=settings,
    )
    if settings.proxies:
        count = settings.proxies
        app.wsgi_app = ProxyFix(app.wsgi_app, x_for=count, x_proto=count, x_host=count)  # type: ignore[method-assign]


def create_app(settings: Settings | None = None) -> Flask:
    """The WSGI application; settings are read from the environment when none are given."""
    settings = settings or load_settings()
    app = Flask(__name__, static_folder=None)
    configure(app, settings)
    observe.install_observing(app)
    errors.install_errors(app, settings)
    access.install_access(app, Database(settings))
    catalogue = load_catalogue()
    app.extensions["railcase.assets"] = Assets(find_static(), HERE / "engine", catalogue)
    install_wording(app, catalogue)
    app.jinja_env.filters["circuit"] = draw_circuit
    account.install(app)
    account.csrf.exempt(phone_api)  # no cookie is looked at there: a bearer token cannot be ridden on
    for blueprint in (phone_pages, phone_api, account_pages, office_pages, report_pages, about.blueprint):
        app.register_blueprint(blueprint)
    return app
