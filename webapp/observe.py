"""What whoever runs the server can see: one JSON line a request, whether it lives and is ready, and meters.

Lines hold ids and no content: no search words, no bodies, no tokens.
"""

import hmac
import logging
import re
import time
from collections.abc import Iterator
from typing import Any

from flask import Blueprint, Flask, Response, abort, current_app, g, has_request_context, jsonify, request
from pythonjsonlogger.json import JsonFormatter

from webapp import __version__, meters
from webapp.access import database, public
from webapp.settings import Settings
from webapp.store import health
from webapp.store.refusals import Refusal
from webapp.store.scope import new_id

log = logging.getLogger("railcase.requests")
blueprint = Blueprint("observe", __name__)
GIVEN_ID = re.compile(r"[A-Za-z0-9_.-]{8,64}")


class Context(logging.Filter):
    """Adds the request's id to every line written while it is served."""

    def filter(self, record: logging.LogRecord) -> bool:
        if has_request_context():
            record.request_id = g.get("request_id")
        return True


# gunicorn's own lines go the same way; it takes this dict as it is.
LOGGING: dict[str, Any] = {
    "version": 1,
    "disable_existing_loggers": False,
    "filters": {"context": {"()": Context}},
    "formatters": {
        "json": {
            "()": JsonFormatter,
            "fmt": ["levelname", "name", "message"],
            "rename_fields": {"levelname": "level", "name": "logger"},
            "timestamp": "at",
        }
    },
    "handlers": {"stderr": {"class": "logging.StreamHandler", "formatter": "json", "filters": ["context"]}},
    "root": {"level": "INFO", "handlers": ["stderr"]},
    "loggers": {
        "gunicorn.error": {"level": "INFO", "handlers": [], "propagate": True},
        "alembic": {"level": "WARNING"},
    },
}


def begin() -> None:
    """A proxy's id is kept, so that its lines and ours can be laid side by side."""
    given = request.headers.get("X-Request-Id", "")
    g.request_id = given if GIVEN_ID.fullmatch(given) else new_id()
    g.began = time.perf_counter()


def end(response: Response) -> Response:
    spent = time.perf_counter() - g.get("began", time.perf_counter())
    route = request.url_rule.rule if request.url_rule else "none"
    meters.meters().requests.labels(request.method, route, response.status_code).inc()
    meters.meters().request_seconds.labels(route).observe(spent)
    response.headers["X-Request-Id"] = g.get("request_id", "")
    log.info("%s %s %s", request.method, request.path, response.status_code, extra=dict(list_facts(response, spent)))
    return response


def list_facts(response: Response, spent: float) -> Iterator[tuple[str, Any]]:
    yield from (("method", request.method), ("path", request.path), ("status", response.status_code))
    yield "ms", round(1000 * spent, 1)
    actor = g.get("actor")
    if actor:
        yield from (("workshop", actor.workshop_id), ("person", actor.person_id), ("device", actor.device))


@blueprint.get("/healthz")
@public
def live() -> Response:
    """This process answers; nothing else is asked of it."""
    return jsonify({"ok": True, "version": __version__})


@blueprint.get("/readyz")
@public
def ready() -> tuple[Response, int]:
    """It can take entries in: the database answers and has this version's tables, the disk has room."""
    settings: Settings = current_app.config["RAILCASE"]
    checks = health.check_all(database(), settings.data)
    is_ready = all(text == health.FINE for text in checks.values())
    return jsonify({"ok": is_ready, "checks": checks}), 200 if is_ready else 503


@blueprint.get("/metrics")
@public
def metrics() -> Response:
    """There is no such address unless a token for it was set."""
    wanted = current_app.config["RAILCASE"].metrics_token
    given = request.headers.get("Authorization", "").removeprefix("Bearer ")
    if not wanted or not hmac.compare_digest(wanted.encode(), given.encode("utf-8", "replace")):
        abort(404)
    return Response(meters.render() + render_waiting(), content_type=meters.TYPE)


def render_waiting() -> bytes:
    """Asked of the database when somebody looks: all processes share this queue."""
    try:
        count = health.count_waiting(database())
    except Refusal:
        return b""
    return (
        f"# HELP railcase_waiting_cases Cases that wait to be judged.\n# TYPE railcase_waiting_cases gauge\n"
        f"railcase_waiting_cases {count}\n".encode()
    )


def install_observing(app: Flask) -> None:
    """Before anything else looks at a request, and before there are threads that would make the meters twice."""
    meters.meters()
    app.before_request(begin)
    app.after_request(end)
    app.register_blueprint(blueprint)
