"""The phone's API: pair once, then send and fetch entries and photos with the phone's own token."""

import contextlib

from flask import Blueprint, Response, current_app, jsonify, request

from webapp.access import (
    actor,
    bearer_token,
    by_phone,
    client_address,
    database,
    public,
    workshop_to_read,
    workshop_to_write,
)
from webapp.phone.messages import LARGEST_MESSAGE_BYTES, pack, read_json
from webapp.phone.openapi import describe
from webapp.phone.schemas import FinishIn, PairIn, SyncIn
from webapp.store import cases, clocks, devices, limits, log, pairings, people, photos, projection, uploads
from webapp.store.moments import now
from webapp.store.refusals import Refusal

blueprint = Blueprint("api", __name__, url_prefix="/api/v1")
blueprint.after_request(pack)


def person_out(person) -> dict:
    return {"id": person.id, "name": person.name, "role": person.role}


@blueprint.post("/pair")
@public
def pair() -> tuple[Response, int]:
    wanted = PairIn().load(read_json())
    with database().writing() as session:
        pairings.guard_pairing(session, client_address())
    with database().writing() as session:
        asked = pairings.ask(session, wanted["code"], wanted["device_name"], wanted["install"])
    if asked is None:
        raise pairings.not_paired()
    return jsonify({"token": asked.token, **asked_out(asked)}), 201


def asked_out(asked: pairings.Asked) -> dict:
    """What a phone learns of its pairing: whose it will be only once the office has let it in."""
    pairing, is_in = asked.pairing, asked.state == "paired"
    return {
        "status": asked.state,
        "number": pairing.number,
        "device": {"id": pairing.install, "name": pairing.device_name},
        "person": person_out(asked.person) if is_in else None,
        "workshop": {"id": pairing.workshop_id, "name": asked.workshop_name} if is_in else None,
    }


@blueprint.get("/pair")
@public
def look_at_pairing() -> Response:
    with database().reading() as session:
        return jsonify(asked_out(pairings.look(session, bearer_token())))


@blueprint.post("/sync")
@by_phone
def sync() -> Response:
    request.max_content_length = LARGEST_MESSAGE_BYTES
    wanted, me = SyncIn().load(read_json()), actor()
    with workshop_to_write() as workshop:
        held = log.count_entries(workshop, me.device)
        taken = cases.take_in(workshop, wanted["entries"], me.device, now())
        token = devices.note_contact(workshop, me.device, wanted["app"])
        page = log.read_after(workshop, taken.end, wanted["cursor"], None if wanted["own"] else me.device)
        answer = {
            "results": [arrival._asdict() for arrival in taken.arrivals],
            **page._asdict(),
            "photos_wanted": photos.list_wanted(workshop, me.device),
            "people": [person_out(person) for person in people.list_people(workshop) if person.active],
            "workshop": {"id": me.workshop_id, "name": me.workshop_name},
            "server_time": now(),
            "clock_warning": clocks.compare(wanted.get("sent_at"), now()),
            "person": {"id": me.person_id, "name": me.name, "role": me.role},
            "token": token,
            "device": {"id": me.device, "last_seq": log.next_seq(workshop, me.device) - 1, "held": held},
            "limits": limits.tell_phone(workshop, wanted["limits"]),
        }
    response, opened = jsonify(answer), database()
    if taken.rows:
        response.call_on_close(lambda: projection.catch_up_quietly(opened, me.workshop_id))
    return response


def keep_photo(sha256: str, type_: str, data: bytes) -> bool:
    with workshop_to_read() as workshop:
        picture = photos.store_photo(workshop, database().photos, sha256, type_, data)
    with workshop_to_write() as workshop:
        is_new = photos.note_photo(workshop, sha256, len(data), picture)
        projection.note_photo(workshop, sha256)
        return is_new


def drop_pieces(sha256: str) -> None:
    """The photo is here whole, whichever way it came; and with each that is, what others left lying is swept."""
    with workshop_to_read() as workshop:
        uploads.drop_pieces(workshop, database().photos, sha256)
        with contextlib.suppress(Refusal):  # the photo is confirmed all the same
            uploads.sweep(workshop, database().photos)


@blueprint.put("/photos/<sha256>")
@by_phone
def put_photo(sha256: str) -> tuple[Response, int]:
    request.max_content_length = photos.LARGEST_BYTES
    is_new = keep_photo(sha256, request.mimetype, request.get_data())
    drop_pieces(sha256)
    return jsonify({"sha256": sha256, "stored": True}), 201 if is_new else 200


@blueprint.get("/photos/<sha256>")
@by_phone
def get_photo(sha256: str) -> Response:
    with workshop_to_read() as workshop:
        data, type_ = photos.read_original(workshop, database().photos, sha256)
    return Response(data, content_type=type_, headers={"Cache-Control": "private, max-age=86400"})


@blueprint.get("/uploads/<sha256>")
@by_phone
def show_upload(sha256: str) -> Response:
    with workshop_to_read() as workshop:
        return jsonify(uploads.read_state(workshop, database().photos, sha256)._asdict())


@blueprint.put("/uploads/<sha256>/<int:number>")
@by_phone
def put_piece(sha256: str, number: int) -> Response:
    data = request.get_data()
    with workshop_to_read() as workshop:
        uploads.keep_piece(workshop, database().photos, sha256, number, data)
    return jsonify({"sha256": sha256, "number": number, "stored": True})


@blueprint.post("/uploads/<sha256>/finish")
@by_phone
def finish_upload(sha256: str) -> tuple[Response, int]:
    wanted = FinishIn().load(read_json())
    with workshop_to_read() as workshop:
        data = uploads.gather(workshop, database().photos, sha256, wanted["size"])
    is_new = data is not None and keep_photo(sha256, wanted["type"], data)
    drop_pieces(sha256)
    return jsonify({"sha256": sha256, "stored": True}), 201 if is_new else 200


@blueprint.get("/openapi.json")
@public
def openapi() -> Response:
    return jsonify(describe(current_app))
