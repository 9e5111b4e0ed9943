"""Addresses of the office; what they show is in cases.py, people.py and devices.py beside this file."""

from flask import Blueprint

from webapp.office import cases, devices, exports, insights, instruments, jobs, limits, listing, merging, people, privacy

blueprint = Blueprint("office", __name__)

# address, method, view
TABLE = [
    ("/injury", "GET", cases.injury),
    ("/office/", "GET", listing.list_cases),
    ("/office/views", "POST", listing.save_view),
    ("/office/views/<view_id>/delete", "POST", listing.delete_view),
    ("/office/jobs/new", "GET", jobs.new_job),
    ("/office/jobs", "POST", jobs.open_job),
    ("/office/export", "GET", exports.export_cases),
    ("/office/cases/<case_id>", "GET", cases.show_case),
    ("/office/cases/<case_id>/notes", "POST", cases.add_note),
    ("/office/cases/<case_id>/outcome", "POST", cases.confirm_outcome),
    ("/office/cases/<case_id>/reopen", "POST", cases.reopen),
    ("/office/cases/<case_id>/job", "POST", jobs.assign_job),
    ("/office/cases/<case_id>/comments", "POST", jobs.add_comment),
    ("/office/cases/<case_id>/answers", "POST", jobs.give_answer),
    ("/office/cases/<case_id>/review", "POST", jobs.countersign),
    ("/office/cases/<case_id>/merge", "GET", merging.choose_target),
    ("/office/cases/<case_id>/merge", "POST", merging.merge_case),
    ("/office/cases/<case_id>/separate", "POST", merging.separate_case),
    ("/office/photos/<sha256>", "GET", cases.show_photo),
    ("/office/insights", "GET", insights.show_insights),
    ("/office/people", "GET", people.list_people),
    ("/office/people", "POST", people.add_person),
    ("/office/people/<person_id>", "GET", people.show_person),
    ("/office/people/<person_id>/role", "POST", people.change_role),
    ("/office/people/<person_id>/password", "POST", people.set_password),
    ("/office/people/<person_id>/sign-out", "POST", people.sign_out),
    ("/office/people/<person_id>/active", "POST", people.set_active),
    ("/office/cases/<case_id>/limits", "GET", limits.compare_limits),
    ("/office/cases/<case_id>/limits", "POST", limits.choose_limits),
    ("/office/limits", "GET", limits.list_limits),
    ("/office/limits", "POST", limits.add_limits),
    ("/office/limits/<profile>", "GET", limits.show_limits),
    ("/office/limits/<profile>/export", "GET", limits.export_limits),
    ("/office/limits/<profile>/edit/<quantity>", "GET", limits.edit_limit),
    ("/office/limits/<profile>/edit/<quantity>", "POST", limits.preview_limit),
    ("/office/limits/<profile>/import", "POST", limits.import_limits),
    ("/office/limits/<profile>/publish", "POST", limits.publish_limits),
    ("/office/insights/weights", "POST", insights.accept_weights),
    ("/office/instruments", "GET", instruments.list_instruments),
    ("/office/instruments", "POST", instruments.add_instrument),
    ("/office/instruments/<instrument>", "GET", instruments.show_instrument),
    ("/office/instruments/<instrument>", "POST", instruments.change_instrument),
    ("/office/privacy", "GET", privacy.show_privacy),
    ("/office/privacy/export", "GET", privacy.export_privacy),
    ("/office/privacy/erase", "POST", privacy.erase),
    ("/office/privacy/retention", "POST", privacy.set_retention),
    ("/office/privacy/due", "POST", privacy.erase_due),
    ("/office/devices", "GET", devices.list_devices),
    ("/office/devices/<key>/revoke", "POST", devices.revoke),
    ("/office/pairings", "POST", devices.make_pairing),
    ("/office/pairings/<pairing_id>", "GET", devices.show_pairing),
    ("/office/pairings/<pairing_id>/confirm", "POST", devices.confirm_pairing),
    ("/office/pairings/<pairing_id>/refuse", "POST", devices.refuse_pairing),
]

for address, method, view in TABLE:
    blueprint.add_url_rule(address, endpoint=view.__name__, view_func=view, methods=[method])
