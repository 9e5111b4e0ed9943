"""The phone's API: pair once, then send and fetch entries and photos with the phone's own token."""

import json
from typing import Any

from flask import Blueprint, Response, current_app, jsonify, request

from webapp.access import actor, by_phone, client_address, database, public, workshop_to_read, workshop_to_write
from webapp.phone.openapi import describe
from webapp.phone.schemas import PairIn, SyncIn
from webapp.store import cases, devices, log, people, photos
from webapp.store.moments import now
from webapp.store.refusals import Refusal, WrongType

blueprint = Blueprint("api", __name__, url_prefix="/api/v1")
LARGEST_SYNC_BYTES = 2_000_000


def refuse_constant(name: str) -> None:
    raise ValueError(f"{name} is not a number that JSON knows")


def read_json() -> Any:
    """The request's JSON. *Refuses* other content types (a foreign page's form could send those) and broken JSON."""
    if request.mimetype != "application/json":
        raise WrongType(
            "wrong_type", "Content-Type", f"Content-Type: {request.mimetype[:40]!r} is not accepted; send application/json"
        )
    try:
        return json.loads(request.get_data().decode("utf-8"), parse_constant=refuse_constant)
    except (ValueError, RecursionError) as problem:
        raise Refusal("not_json", "", f"The request is not JSON that can be read ({problem}); send it again.") from None


def person_out(person) -> dict:
    return {"id": person.id, "name": person.name, "role": person.role}


@blueprint.post("/pair")
@public
def pair() -> tuple[Response, int]:
    wanted = PairIn().load(read_json())
    with database().writing() as session:
        devices.guard_pairing(session, client_address())
    with database().writing() as session:
        paired = devices.pair(session, wanted["code"], wanted["device_name"], wanted["install"])
    if paired is None:
        raise devices.not_paired()
    return jsonify(
        {
            "token": paired.token,
            "device": {"id": paired.device.install, "name": paired.device.name},
            "person": person_out(paired.person),
            "workshop": {"id": paired.device.workshop_id, "name": paired.workshop_name},
        }
    ), 201


@blueprint.post("/sync")
@by_phone
def sync() -> Response:
    request.max_content_length = LARGEST_SYNC_BYTES
    wanted, me = SyncIn().load(read_json()), actor()
    with workshop_to_write() as workshop:
        arrivals = cases.append_entries(workshop, wanted["entries"], me.device)
        devices.note_contact(workshop, me.device, wanted["app"])
        page = log.read_after(workshop, wanted["cursor"], me.device)
        answer = {
            "results": [arrival._asdict() for arrival in arrivals],
            **page._asdict(),
            "photos_wanted": photos.list_wanted(workshop, me.device),
            "people": [person_out(person) for person in people.list_people(workshop) if person.active],
            "workshop": {"id": me.workshop_id, "name": me.workshop_name},
            "server_time": now(),
        }
    return jsonify(answer)


@blueprint.put("/photos/<sha256>")
@by_phone
def put_photo(sha256: str) -> tuple[Response, int]:
    request.max_content_length = photos.LARGEST_BYTES
    data = request.get_data()
    with workshop_to_write() as workshop:
        is_new = photos.keep_photo(workshop, database().photos, sha256, request.mimetype, data)
    return jsonify({"sha256": sha256, "stored": True}), 201 if is_new else 200


@blueprint.get("/photos/<sha256>")
@by_phone
def get_photo(sha256: str) -> Response:
    with workshop_to_read() as workshop:
        data, type_ = photos.read_photo(workshop, database().photos, sha256)
    return Response(data, content_type=type_, headers={"Cache-Control": "private, max-age=86400"})


@blueprint.get("/openapi.json")
@public
def openapi() -> Response:
    return jsonify(describe(current_app))
