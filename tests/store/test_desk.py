"""What the office says of a case: jobs given out, questions, countersigning, duplicates, the list narrowed, saved views."""

import pytest

from tests.conftest import BOTH, own_workshop
from webapp.store import cases, jobs, merging, people, projection, reviews, views
from webapp.store.filters import NEEDS_REVIEW, Wanted
from webapp.store.models import Case
from webapp.store.refusals import Conflict, NotFound, Refusal

DATABASES = BOTH


@pytest.fixture
def staff(database) -> dict[str, str]:
    """Ids of the own workshop's people by their role."""
    with database.reading() as session:
        return {person.role: person.id for person in people.list_people(own_workshop(session))}


@pytest.fixture
def desk(database):
    """Do something in the own workshop."""

    def run(action, *args, **words):
        with database.writing() as session:
            return action(own_workshop(session), *args, **words)

    return run


def get(desk, case_id: str) -> cases.WholeCase:
    return desk(cases.get_case, case_id)


def list_ids(desk, **filters) -> list[str]:
    return [row.id for row in desk(cases.list_cases, **filters).cases]


def open_one(desk, staff, **vehicle) -> str:
    vehicle = {"registration": "AB12 CDE", **vehicle}
    return desk(jobs.open_job, staff["office"], staff["technician"], vehicle, ["no_start"], "rings at noon")


def finish(phone) -> None:
    phone.sync([*phone.opening(), phone.entry("concluded", {"fault": None, "text": "open"})])


def test_a_job_arrives_on_the_phone_of_the_one_it_is_for(desk, staff, technician):
    case_id = open_one(desk, staff, description="blue van", vin="")
    entries = technician.sync([])["entries"]
    assert [entry["kind"] for entry in entries] == ["case_opened", "vehicle_set", "complaint_set", "job_assigned"]
    assert entries[-1]["body"] == {"to": staff["technician"], "note": "rings at noon"}
    assert {entry["device"] for entry in entries} == {"office"}
    assert "vin" not in entries[1]["body"]
    whole = get(desk, case_id)
    assert (whole.row.person, whole.document["job_seen"], whole.row.complaints) == (staff["technician"], None, " no_start ")


def test_a_job_was_seen_until_it_is_given_to_somebody_else(desk, staff, technician):
    case_id = open_one(desk, staff)
    technician.sync([technician.entry("job_seen", {}, case=case_id, clock=9)])
    assert get(desk, case_id).document["job_seen"]["by"] == "me"
    desk(jobs.assign, case_id, staff["office"], staff["apprentice"], "")
    whole = get(desk, case_id)
    assert (whole.document["job_seen"], whole.row.person) == (None, staff["apprentice"])


def test_nobody_gets_a_job_who_is_out_or_unknown(desk, staff):
    desk(people.set_active, staff["technician"], False)
    with pytest.raises(Refusal, match="shut out"):
        open_one(desk, staff)
    with pytest.raises(NotFound):
        desk(jobs.open_job, staff["office"], "nobody", {}, [], "")
    assert list_ids(desk) == []


def test_a_question_is_open_until_it_is_answered(desk, staff, technician):
    technician.sync(technician.opening())
    desk(jobs.comment, technician.case, staff["office"], "Which plug?", staff["technician"], question=True)
    asked = get(desk, technician.case)
    assert (asked.row.questions, list_ids(desk, wanted=Wanted(questions=True))) == (1, [technician.case])
    question = asked.document["open_questions"][0]
    technician.sync([technician.entry("comment_added", {"text": "the grey one", "answers": question}, clock=9)])
    answered = get(desk, technician.case)
    assert (answered.row.questions, answered.document["open_questions"]) == (0, [])
    assert list_ids(desk, wanted=Wanted(questions=True)) == []
    assert list_ids(desk, text="grey") == [technician.case]


def test_only_what_was_asked_can_be_answered(desk, staff, technician):
    technician.sync(technician.opening())
    with pytest.raises(Conflict, match="no such question"):
        desk(jobs.answer, technician.case, staff["office"], "elsewhere", "x")


@pytest.mark.parametrize(
    ("kind", "body"),
    [("job_assigned", {"to": "x"}), ("reviewed", {"seen": 1}), ("merged_into", {}), ("case_joined", {"duplicate": "x"})],
)
def test_a_phone_cannot_say_what_only_a_desk_may(technician, kind, body):
    answer = technician.sync([*technician.opening(), technician.entry(kind, body)])
    assert answer["results"][-1]["problems"][0]["code"] == "not_allowed"


def test_a_finished_case_asks_for_a_review_until_it_is_countersigned(desk, staff, technician):
    technician.sync(technician.opening())
    assert list_ids(desk, state=NEEDS_REVIEW) == []
    technician.sync([technician.entry("concluded", {"fault": None, "text": "open"})])
    assert list_ids(desk, state=NEEDS_REVIEW) == [technician.case]
    seen = reviews.count_seen(get(desk, technician.case))
    desk(reviews.countersign, technician.case, staff["office"], seen, "well done")
    assert list_ids(desk, state=NEEDS_REVIEW) == []
    with pytest.raises(Conflict, match="does not ask for a review"):
        desk(reviews.countersign, technician.case, staff["office"], seen, "")


def test_the_pump_named_without_proof_asks_for_a_review(desk, technician):
    technician.sync([*technician.opening(), technician.entry("gate_overridden", {"reason": "seen it before"})])
    assert list_ids(desk, state=NEEDS_REVIEW) == [technician.case]


def test_what_comes_late_from_a_phone_undoes_the_countersignature_whatever_its_clock(desk, staff, technician):
    finish(technician)
    late = technician.reading("crank_pressure", 180, unit="bar") | {"clock": 2}
    desk(reviews.countersign, technician.case, staff["office"], reviews.count_seen(get(desk, technician.case)), "")
    technician.sync([technician.entry("note_added", {"text": "thanks"})])
    assert list_ids(desk, state=NEEDS_REVIEW) == []
    technician.sync([late])
    assert list_ids(desk, state=NEEDS_REVIEW) == [technician.case]


def test_nobody_countersigns_what_they_have_not_seen(desk, staff, technician):
    finish(technician)
    seen = reviews.count_seen(get(desk, technician.case))
    technician.sync([technician.reading("crank_pressure", 180, unit="bar")])
    with pytest.raises(Conflict, match="changed since you looked"):
        desk(reviews.countersign, technician.case, staff["office"], seen, "")


@pytest.fixture
def twice(technician, apprentice) -> tuple[str, str]:
    """The same job opened on two phones: both read the pressure, the duplicate alone the supply."""
    technician.sync([*technician.opening(), technician.reading("crank_pressure", 180, unit="bar")])
    apprentice.sync([
        *apprentice.opening(), apprentice.reading("crank_pressure", 290, unit="bar"),
        apprentice.reading("supply_pressure", 4, unit="bar"),
    ])  # fmt: skip
    return apprentice.case, technician.case


def test_a_duplicate_leaves_the_list_and_hands_over_what_the_other_has_not(desk, staff, twice):
    duplicate, target = twice
    desk(merging.merge, duplicate, target, staff["office"], True)
    assert list_ids(desk) == [target]
    assert set(list_ids(desk, wanted=Wanted(merged=True))) == {duplicate, target}
    assert list_ids(desk, text="ab12") == [target]
    readings = get(desk, target).document["readings"]
    assert [(row["quantity"], row["value"]) for row in readings] == [("crank_pressure", 180), ("supply_pressure", 4)]
    assert get(desk, target).document["joined"][0]["readings"] == [readings[1]["id"]]
    assert len(get(desk, duplicate).document["readings"]) == 2


def test_readings_stay_where_they_are_unless_they_are_asked_for(desk, staff, twice):
    desk(merging.merge, *twice, staff["office"], False)
    assert len(get(desk, twice[1]).document["readings"]) == 1


def test_separated_cases_are_two_again(desk, staff, twice):
    duplicate, target = twice
    desk(merging.merge, duplicate, target, staff["office"], True)
    desk(merging.separate, duplicate, staff["office"])
    assert set(list_ids(desk)) == {duplicate, target}
    assert [row["quantity"] for row in get(desk, target).document["readings"]] == ["crank_pressure"]
    with pytest.raises(Conflict, match="not joined"):
        desk(merging.separate, duplicate, staff["office"])


def test_cases_are_not_joined_in_a_ring(desk, staff, twice):
    duplicate, target = twice
    desk(merging.merge, duplicate, target, staff["office"], False)
    for pair in ((target, duplicate), (duplicate, target), (target, target)):
        with pytest.raises(Conflict):
            desk(merging.merge, *pair, staff["office"], False)


def test_filters_stand_beside_each_other(desk, staff, technician):
    mine = open_one(desk, staff)
    technician.sync([
        *technician.opening("ZZ99 ZZZ"), technician.entry("complaint_set", {"complaints": ["stalls", "noise"]}),
        technician.entry("photo_added", {"sha256": "ab" * 32, "type": "image/jpeg", "size": 10}),
    ])  # fmt: skip
    day = get(desk, mine).row.updated_at[:10]
    for wanted, found in [
        (Wanted(complaint="no_start"), {mine}), (Wanted(complaint="noise"), {technician.case}),
        (Wanted(complaint="o"), set()),
        (Wanted(photos=True), {technician.case}), (Wanted(person=staff["technician"]), {mine, technician.case}),
        (Wanted(person=staff["office"]), set()), (Wanted(pump="open"), {mine, technician.case}),
        (Wanted(since=day, until=day), {mine, technician.case}), (Wanted(until="2020-01-01"), set()),
        (Wanted(since="2099-01-01"), set()), (Wanted(photos=True, complaint="no_start"), set()),
    ]:  # fmt: skip
        assert set(list_ids(desk, wanted=wanted)) == found, wanted
        assert set(list_ids(desk, text="ab12", wanted=wanted)) == found & {mine}, wanted


def test_an_arrived_photo_is_missed_no_longer(desk, technician):
    photo = {"sha256": "ab" * 32, "type": "image/jpeg", "size": 10}
    technician.sync([*technician.opening(), technician.entry("photo_added", photo)])

    def arrive(workshop) -> int:
        workshop.add_many(projection.Photo, [{**photo, "width": 1, "height": 1, "received_at": "2026"}])
        projection.note_photo(workshop, photo["sha256"])
        return workshop.first(workshop.select(Case, Case.photos_missing))

    assert desk(arrive) == 0


def test_saved_views_belong_to_a_person(desk, staff):
    for query in ("state=open", "state=open&photos=1"):
        desk(views.save_view, staff["office"], "Open ones", query)
    view = desk(views.list_views, staff["office"])[0]
    assert (view.name, view.query) == ("Open ones", "state=open&photos=1")
    assert desk(views.list_views, staff["technician"]) == []
    with pytest.raises(NotFound):
        desk(views.delete_view, staff["technician"], view.id)
    desk(views.delete_view, staff["office"], view.id)
    assert desk(views.list_views, staff["office"]) == []
    with pytest.raises(Refusal):
        desk(views.save_view, staff["office"], " ", "")
