"""Both kinds of shelf do the same, the bucket against a stand-in for the S3 protocol on this machine."""

import threading

import boto3
import pytest
from moto.server import ThreadedMotoServer

from tests.web.test_photos import draw, speak_of
from tests.web.test_uploads import PIECE_BYTES, big_picture, finish, piece, put
from webapp.app import create_app
from webapp.settings import SettingsError, load_settings
from webapp.store import verify
from webapp.store.buckets import Bucket
from webapp.store.refusals import Away
from webapp.store.shelves import Folder


@pytest.fixture(scope="module")
def store():
    server = ThreadedMotoServer(ip_address="127.0.0.1", port=0, verbose=False)
    server.start()
    host, port = server.get_host_and_port()
    yield f"http://{host}:{port}"
    server.stop()


@pytest.fixture
def bucket(store, monkeypatch, request):
    for name, value in (
        ("AWS_ACCESS_KEY_ID", "test"),
        ("AWS_SECRET_ACCESS_KEY", "test"),
        ("AWS_DEFAULT_REGION", "us-east-1"),
    ):
        monkeypatch.setenv(name, value)
    name = f"photos-{abs(hash(request.node.name)) % 10**9}"
    boto3.client("s3", endpoint_url=store, region_name="us-east-1").create_bucket(Bucket=name)
    return f"s3://{name}/some/where?endpoint={store}&region=us-east-1"


@pytest.fixture(params=["folder", "bucket", "whole bucket"])
def shelf(request, tmp_path):
    if request.param == "folder":
        return Folder(tmp_path / "photos")
    address = request.getfixturevalue("bucket")
    return Bucket(address if request.param == "bucket" else address.replace("/some/where", ""))


def test_write_read_list_remove(shelf):
    assert shelf.read("a/b/c") is None
    assert shelf.list_keys("a") == []
    for key, data in (("a/b/c", b"one"), ("a/b/d", b""), ("ab/x", b"x"), ("a/b/c", b"two")):
        shelf.write(key, data)
    assert (shelf.read("a/b/c"), shelf.read("a/b/d")) == (b"two", b"")
    assert shelf.list_keys("a") == ["a/b/c", "a/b/d"]
    ages = shelf.list_ages("a")
    assert sorted(ages) == ["a/b/c", "a/b/d"]
    assert all(-2 < age < 60 for age in ages.values())
    shelf.remove("a/b/c")
    shelf.remove("a/b/c")
    assert (shelf.read("a/b/c"), shelf.list_keys("a/b")) == (None, ["a/b/d"])


@pytest.fixture
def settings(settings, bucket):
    return type(settings)(**{**settings.__dict__, "photos": bucket})


def test_photos_whole_and_in_pieces_go_to_the_bucket(technician, apprentice, database, settings):
    data = draw()
    sha256 = speak_of(technician, data)
    assert technician.put_photo(sha256, data).status_code == 201
    big = big_picture()
    name = speak_of(technician, big)
    for number in range(-(-len(big) // PIECE_BYTES)):
        assert put(technician, name, number, piece(big, number)).status_code == 200
    assert finish(technician, name, len(big)).status_code == 201
    assert apprentice.client.get(f"/api/v1/photos/{name}", headers=apprentice.headers).data == big
    assert len(database.photos.list_keys("")) == 4  # each as it came, and as it is shown
    assert not (settings.data / "photos").exists()
    assert (verify.verify(database).problems, verify.verify(database).photos) == ([], 2)


def test_a_store_that_does_not_answer_confirms_nothing(technician, settings, monkeypatch):
    data = draw()
    sha256 = speak_of(technician, data)
    away = type(settings)(**{**settings.__dict__, "photos": "s3://nowhere/x?endpoint=http://127.0.0.1:9&region=us-east-1"})
    technician.client = create_app(away).test_client()
    answer = technician.put_photo(sha256, data)
    assert (answer.status_code, answer.json["error"][0]["code"]) == (503, "away")
    assert technician.sync([])["photos_wanted"] == [sha256]
    with pytest.raises(Away):
        Bucket(away.photos).read("x")


@pytest.mark.parametrize("text", ["photos", "http://bucket", "s3://"])
def test_a_bucket_that_cannot_be_one_stops_the_start(tmp_path, text):
    with pytest.raises(SettingsError, match="RAILCASE_PHOTOS"):
        load_settings({"RAILCASE_DATA": str(tmp_path), "RAILCASE_PHOTOS": text})


def come_and_go(shelf: Folder, stop: threading.Event) -> None:
    while not stop.is_set():
        for number in range(20):
            shelf.write(f"uploads/{number}/0", b"x")
        for number in range(20):
            shelf.remove(f"uploads/{number}/0")


def test_a_folder_is_listed_while_others_take_it_away(tmp_path, monkeypatch):
    monkeypatch.setattr("webapp.store.shelves.os.fsync", lambda _: None)
    shelf, stop = Folder(tmp_path), threading.Event()
    other = threading.Thread(target=come_and_go, args=(shelf, stop))
    other.start()
    try:
        for _ in range(300):
            assert len(shelf.list_keys("uploads")) <= 20
            assert all(age < 60 for age in shelf.list_ages("uploads").values())
    finally:
        stop.set()
        other.join()
