"""What the phone app is made of: bytes, compression, caching, and the list that is kept offline."""

import gzip
import hashlib
import json
import re
import time
from concurrent.futures import ThreadPoolExecutor

import brotli
import pytest

from webapp.app import find_static
from webapp.phone.assets import TYPES, Assets, make_asset


def get(app, path, **headers):
    return app.test_client().get(path, headers={name.replace("_", "-"): value for name, value in headers.items()})


def precache(app) -> dict:
    text = get(app, "/sw.js").text
    return json.loads(re.search(r"^const PRECACHE = (\{.*\});$", text, re.M)[1])


def test_everything_on_the_list_is_served_plainly(app):
    client = app.test_client()
    for path in precache(app)["files"]:
        answer = client.get(path)
        assert answer.status_code == 200, path
        assert answer.mimetype in {type_.split(";")[0] for type_ in TYPES.values()}, path


def test_the_list_holds_every_file_that_the_app_may_ask_for(app):
    kept = set(precache(app)["files"])
    static = find_static()
    scripts = {f"/static/{path.relative_to(static).as_posix()}" for path in (static / "js").rglob("*.js")}
    assert scripts <= kept
    assert {"/", "/engine.json", "/catalogue.json", "/manifest.webmanifest", "/static/css/app.css"} <= kept
    assert not [path for path in kept if "office.css" in path or path.endswith((".br", ".gz"))]


def test_the_pack_holds_every_text_on_the_list_as_it_is_served(app):
    files, pack = precache(app)["files"], get(app, "/pack.json").json
    sums = {path: hashlib.sha256(text.encode()).hexdigest()[:16] for path, (_, text) in pack.items()}
    assert sums.items() <= files.items()
    single = {path for path in files.keys() - sums.keys() if not path.endswith((".png", ".wasm"))}
    assert single == {"/"}
    assert all(get(app, path).content_type == type_ for path, (type_, _) in pack.items())


def test_the_pack_is_smaller_than_its_files(app):
    def sent(path: str) -> int:
        return len(get(app, path, Accept_Encoding="br").data)

    assert sent("/pack.json") < 0.9 * sum(sent(path) for path in get(app, "/pack.json").json)


def test_the_pack_follows_a_changed_file(app, monkeypatch):
    assets = app.extensions["railcase.assets"]
    before, old = assets.pack(), assets.file
    assert assets.pack() is before
    changed = make_asset(b"changed", ".js")
    monkeypatch.setattr(assets, "file", lambda name: changed if name == "js/app.js" else old(name))
    assert json.loads(assets.pack().data)["/static/js/app.js"][1] == "changed"


def test_the_worker_comes_whole_in_one_script(app):
    script = get(app, "/sw.js").get_data(as_text=True)
    assert "addEventListener('sync'" in script
    assert "Call 112" in precache(app)["lost"]


def test_the_version_changes_with_any_kept_byte(app, monkeypatch):
    assets = app.extensions["railcase.assets"]
    before = precache(app)["version"]
    assert precache(app)["version"] == before
    old = assets.file
    monkeypatch.setattr(assets, "file", lambda name: old(name)._replace(tag="other") if name == "js/app.js" else old(name))
    assert precache(app)["version"] != before


def test_the_engine_is_whole(app):
    bundle = get(app, "/engine.json").json
    assert "class Door" in bundle["files"]["engine/calls.py"]
    assert set(bundle) == {"version", "files"}


def test_vendored_files_go_out_as_they_were_squeezed_at_build_time(app):
    plain = get(app, "/static/vendor/preact.mjs", Accept_Encoding="identity")
    small = get(app, "/static/vendor/preact.mjs", Accept_Encoding="gzip, br")
    assert small.headers["Content-Encoding"] == "br"
    assert len(small.data) < len(plain.data)
    zipped = get(app, "/static/vendor/preact.mjs", Accept_Encoding="gzip")
    assert gzip.decompress(zipped.data) == plain.data
    assert "Accept-Encoding" in zipped.headers["Vary"]
    assert len({plain.headers["ETag"], small.headers["ETag"], zipped.headers["ETag"]}) == 3


def test_own_files_are_squeezed_here(app):
    zipped = get(app, "/static/css/app.css", Accept_Encoding="gzip")
    assert zipped.headers["Content-Encoding"] == "gzip"
    source = (find_static() / "css/app.css").read_bytes()
    assert gzip.decompress(zipped.data) == source
    smaller = get(app, "/static/css/app.css", Accept_Encoding="gzip, br")
    assert smaller.headers["Content-Encoding"] == "br"
    assert brotli.decompress(smaller.data) == source
    assert len(smaller.data) < len(zipped.data)


def test_the_phone_gets_every_engine_module_that_the_door_needs(app):
    files = get(app, "/engine.json").json["files"]
    wanted = {name for source in files.values() for name in re.findall(r"^from \.(\w+) import", source, re.M)}
    assert len(wanted) > 20
    assert {f"engine/{name}.py" for name in wanted} <= set(files)


@pytest.mark.parametrize("refused", ["identity", "gzip;q=0", "br;q=0, gzip;q=0", ""])
def test_who_cannot_unpack_gets_it_plain(app, refused):
    assert "Content-Encoding" not in get(app, "/static/css/app.css", Accept_Encoding=refused).headers


def test_nothing_is_sent_again_when_it_has_not_changed(app):
    first = get(app, "/static/js/app.js")
    assert first.headers["Cache-Control"] == "no-cache"
    again = get(app, "/static/js/app.js", If_None_Match=first.headers["ETag"])
    assert (again.status_code, again.data) == (304, b"")


@pytest.mark.parametrize("name", ["nothing.js", "vendor/preact.mjs.br", "../webapp/app.py", "..%2fpyproject.toml", "js", "",
                                  "%2e%2e/pyproject.toml", "/etc/passwd", "js/app.js%00", "js\\app.js"])  # fmt: skip
def test_only_files_of_the_folder_are_served(app, name):
    assert get(app, f"/static/{name}").status_code in (404, 308, 422)


def test_the_shell_is_the_same_for_everyone(app, office):
    assert office.get("/").data == get(app, "/").data
    assert "Set-Cookie" not in get(app, "/").headers


def test_the_api_document_names_every_address_of_the_api(app):
    document = get(app, "/api/v1/openapi.json").json
    rules = [rule.rule for rule in app.url_map.iter_rules() if rule.rule.startswith("/api/")]
    served = {re.sub(r"<(?:\w+:)?(\w+)>", r"{\1}", rule) for rule in rules}
    assert set(document["paths"]) == served
    assert document["openapi"] == "3.1.0"


def test_real_answers_fit_the_api_document(technician):
    answer = technician.sync(technician.opening())
    schemas = technician.client.get("/api/v1/openapi.json").json["components"]["schemas"]
    assert set(answer) == set(schemas["SyncOut"]["properties"])
    assert set(answer["results"][0]) == set(schemas["Result"]["properties"])
    assert set(technician.paired.json) == set(schemas["PairOut"]["properties"])


def test_health_tells_the_version(app):
    assert get(app, "/healthz").json["ok"] is True


def test_one_thread_makes_the_engine_and_the_others_wait(app, monkeypatch):
    """Two at once in ast.parse end in a SystemError on CPython 3.11: the first phones after a start would get a 500."""
    busy, seen = [], []

    def watched(source: str) -> str:
        busy.append(1)
        seen.append(len(busy))
        time.sleep(0.002)
        busy.pop()
        return source

    monkeypatch.setattr("webapp.phone.assets.slim", watched)
    kept = app.extensions["railcase.assets"]
    fresh = Assets(kept.static, kept.engine, {})
    with ThreadPoolExecutor(8) as threads:
        bundles = list(threads.map(lambda _: fresh.engine_bundle(), range(8)))
    assert set(seen) == {1}
    assert all(bundle is bundles[0] for bundle in bundles)
