"""How the server says no, in JSON under /api and as a page elsewhere, and the headers that every answer carries."""

import logging
from typing import Any

from flask import Flask, Response, jsonify, render_template, request
from marshmallow import ValidationError
from werkzeug.exceptions import HTTPException

from webapp.settings import Settings
from webapp.store.refusals import Refusal

log = logging.getLogger("railcase")

CONTENT_SECURITY_POLICY = (
    "default-src 'none'; script-src 'self' 'wasm-unsafe-eval'; style-src 'self'; img-src 'self' blob: data:; "
    "media-src 'self' blob:; connect-src 'self'; worker-src 'self'; manifest-src 'self'; font-src 'self'; "
    "object-src 'none'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'; "
    "require-trusted-types-for 'script'; trusted-types app"
)
HEADERS = {
    "Content-Security-Policy": CONTENT_SECURITY_POLICY,
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(self), microphone=(self), geolocation=(), payment=(), usb=()",
    "Referrer-Policy": "same-origin",
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
}
ONE_YEAR_S = 31_536_000

# status: code for programs, words for people
WORDS = {
    400: ("bad_request", "The request could not be read. Go back and try again."),
    401: ("sign_in_needed", "Sign in first."),
    403: ("not_allowed", "Your role does not allow this. Ask the office."),
    404: ("not_found", "There is nothing at this address. Check the address, or start again from the list."),
    405: ("wrong_method", "This address does not accept that kind of request."),
    409: ("conflict", "This does not fit what is stored."),
    413: ("too_large", "What was sent is too large. Send less at a time, or a smaller photo."),
    415: ("wrong_type", "What was sent is of a type that is not accepted here."),
    422: ("not_accepted", "Some fields were not accepted."),
    429: ("too_many_tries", "Too many tries. Wait a little, then try again."),
    500: ("our_fault", "Something went wrong here; it is not your doing. Nothing that was stored is lost. Try again."),
}


def answer(status: int, problems: list[dict], headers: dict | None = None) -> Response:
    """The one shape of a refusal: problems with code, field and text."""
    if request.path.startswith("/api/"):
        response = jsonify({"error": problems})
    else:
        response = Response(render_template("error.html", status=status, problems=problems), mimetype="text/html")
    response.status_code = status
    response.headers.update(headers or {})
    return response


def answer_refusal(refusal: Refusal) -> Response:
    wait = {"Retry-After": str(refusal.retry_after_s)} if refusal.retry_after_s else {}
    return answer(refusal.status, refusal.problems, wait)


def answer_http_error(error: HTTPException) -> Any:
    if error.response is not None:
        return error.response
    status = error.code or 500
    code, text = WORDS.get(status, ("refused", "The request was refused."))
    kept = {name: value for name, value in error.get_headers() if name in ("Allow", "Retry-After", "Location")}
    return answer(status, [{"code": code, "field": "", "text": text}], kept)


def list_schema_problems(messages, field: str = "") -> list[dict]:
    """Flatten marshmallow's nested messages into problems whose field is a path such as `entries.3.id`."""
    if isinstance(messages, dict):
        rows = [list_schema_problems(value, f"{field}.{key}".strip(".")) for key, value in messages.items()]
        return [problem for row in rows for problem in row]
    return [{"code": "not_accepted", "field": field.removesuffix("._schema"), "text": str(text)} for text in messages]


def answer_schema_error(error: ValidationError) -> Response:
    return answer(422, list_schema_problems(error.normalized_messages()))


def answer_our_fault(error: Exception) -> Response:
    log.exception("%s %s failed", request.method, request.path)
    code, text = WORDS[500]
    return answer(500, [{"code": code, "field": "", "text": text}])


def add_headers(response: Response, settings: Settings) -> Response:
    for name, value in HEADERS.items():
        response.headers[name] = value
    if settings.https:
        response.headers["Strict-Transport-Security"] = f"max-age={ONE_YEAR_S}; includeSubDomains"
    response.headers.setdefault("Cache-Control", "no-store")
    return response


def install_errors(app: Flask, settings: Settings) -> None:
    app.register_error_handler(Refusal, answer_refusal)
    app.register_error_handler(ValidationError, answer_schema_error)
    app.register_error_handler(HTTPException, answer_http_error)
    app.register_error_handler(Exception, answer_our_fault)
    app.after_request(lambda response: add_headers(response, settings))
