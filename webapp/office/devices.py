"""Phones of the workshop: pairing a new one, last contact, shutting one out."""

import segno
from flask import current_app, flash, redirect, render_template, request, url_for
from markupsafe import Markup
from werkzeug.wrappers import Response

from webapp.access import signed_in, workshop_to_read, workshop_to_write
from webapp.office.forms import PairingForm, offer
from webapp.store import devices, people
from webapp.store.moments import now

Page = str | tuple[str, int] | Response
QR_SCALE, QR_BORDER = 6, 4


def pairing_form(workshop) -> PairingForm:
    form = PairingForm()
    form.person.choices = offer({person.id: person.name for person in people.list_people(workshop) if person.active})
    return form


@signed_in("office")
def list_devices() -> Page:
    with workshop_to_read() as workshop:
        rows, form = devices.list_devices(workshop), pairing_form(workshop)
    return render_template("office/devices.html", devices=rows, form=form, now=now())


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


@signed_in("office")
def make_pairing() -> Page:
    with workshop_to_write() as workshop:
        form = pairing_form(workshop)
        if not form.validate_on_submit():
            return render_template("office/devices.html", devices=devices.list_devices(workshop), form=form), 422
        person = people.get_person(workshop, form.person.data)
        invitation = devices.make_pairing(workshop, person.id)
    link = pairing_link(invitation.secret)
    return render_template("office/pairing.html", person=person, invitation=invitation, link=link, qr=draw_qr(link))


@signed_in("office")
def revoke(key: str) -> Page:
    with workshop_to_write() as workshop:
        devices.revoke_device(workshop, key)
    flash("The phone is shut out. What is still on it stays on it until it is paired again.")
    return redirect(url_for("office.list_devices"), 303)
