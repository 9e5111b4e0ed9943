"""Phones of the workshop: inviting one, comparing its number, last contact, shutting one out."""

import segno
from flask import current_app, flash, redirect, render_template, request, url_for
from markupsafe import Markup
from werkzeug.wrappers import Response

from webapp.access import signed_in, workshop_to_read, workshop_to_write
from webapp.office.forms import PairingForm, offer
from webapp.store import devices, pairings, people
from webapp.store.moments import now
from webapp.store.scope import Workshop

Page = str | tuple[str, int] | Response
QR_SCALE, QR_BORDER = 6, 4


def pairing_form(workshop: Workshop) -> PairingForm:
    form = PairingForm()
    form.person.choices = offer({person.id: person.name for person in people.list_people(workshop) if person.active})
    return form


def render_list(workshop: Workshop, form: PairingForm) -> str:
    rows, waiting = devices.list_devices(workshop), pairings.list_waiting(workshop)
    return render_template("office/devices.html", devices=rows, waiting=waiting, form=form, now=now())


@signed_in("office")
def list_devices() -> Page:
    with workshop_to_read() as workshop:
        return render_list(workshop, pairing_form(workshop))


def draw_qr(link: str) -> Markup:
    """The code as inline SVG: neither the secret nor the picture is ever stored, so it cannot have an address."""
    qr = segno.make(link, error="m", micro=False)
    return Markup(
        qr.svg_inline(
            scale=QR_SCALE, border=QR_BORDER, dark="#000", light="#fff", svgclass="qr", lineclass=None, omitsize=True
        )
    )


def pairing_link(secret: str) -> str:
    """The secret stands after the #, so that it reaches no server log."""
    base = current_app.config["RAILCASE"].url or request.url_root.rstrip("/")
    return f"{base}/#pair={secret}"


@signed_in("office", proved=True)
def make_pairing() -> Page:
    with workshop_to_write() as workshop:
        form = pairing_form(workshop)
        if not form.validate_on_submit():
            return render_list(workshop, form), 422
        person = people.get_person(workshop, form.person.data)
        invitation = pairings.invite(workshop, person.id)
    link = pairing_link(invitation.secret)
    return render_template("office/invitation.html", person=person, invitation=invitation, link=link, qr=draw_qr(link))


@signed_in("office")
def show_pairing(pairing_id: str) -> Page:
    with workshop_to_read() as workshop:
        pairing = pairings.get_pairing(workshop, pairing_id)
        return render_template(
            "office/pairing.html",
            pairing=pairing,
            state=pairings.tell_state(pairing),
            person=people.get_person(workshop, pairing.person_id),
            replaced=pairings.find_replaced(workshop, pairing),
        )


@signed_in("office", proved=True)
def confirm_pairing(pairing_id: str) -> Page:
    with workshop_to_write() as workshop:
        device = pairings.confirm(workshop, pairing_id)
    flash(f"{device.name} is paired. The phone says so by itself in a moment.")
    return redirect(url_for("office.list_devices"), 303)


@signed_in("office")
def refuse_pairing(pairing_id: str) -> Page:
    with workshop_to_write() as workshop:
        pairings.turn_away(workshop, pairing_id)
    flash("Nothing was let in, and the code is void. Make a new one when the right phone is at hand.")
    return redirect(url_for("office.list_devices"), 303)


@signed_in("office", proved=True)
def revoke(key: str) -> Page:
    with workshop_to_write() as workshop:
        devices.revoke_device(workshop, key)
    flash("The phone is shut out. What is still on it stays on it until it is paired again.")
    return redirect(url_for("office.list_devices"), 303)
