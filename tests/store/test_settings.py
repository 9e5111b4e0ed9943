"""Settings: read in one place, refused by name, and a secret key that is kept to its owner."""

import stat
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from webapp.settings import TABLE, SettingsError, load_settings


def load(tmp_path: Path, **environ: str):
    return load_settings({"RAILCASE_DATA": str(tmp_path / "data"), **environ})


def test_defaults(tmp_path):
    settings = load(tmp_path)
    assert settings.database_url == f"sqlite:///{tmp_path / 'data' / 'railcase.db'}"
    assert (settings.url, settings.https, settings.proxies) == (None, False, 0)


def test_the_key_is_made_once_and_for_its_owner_only(tmp_path):
    first = load(tmp_path).secret_key
    assert load(tmp_path).secret_key == first
    assert len(first) >= 60
    assert stat.S_IMODE((tmp_path / "data" / "secret-key").stat().st_mode) == 0o600


def test_two_first_starts_at_once_agree_on_one_key(tmp_path):
    with ThreadPoolExecutor(8) as pool:
        assert len(set(pool.map(lambda _: load(tmp_path).secret_key, range(24)))) == 1
    assert [path.name for path in (tmp_path / "data").iterdir()] == ["secret-key"]


def test_what_is_made_for_the_data_is_for_its_owner_only(tmp_path):
    load(tmp_path)
    assert stat.S_IMODE((tmp_path / "data").stat().st_mode) == 0o700


@pytest.mark.parametrize(("mode", "content", "told"), [(0o604, "k" * 60, "everybody"), (0o600, "k" * 31, "31 characters")])
def test_a_key_that_protects_nothing_stops_the_start(tmp_path, mode, content, told):
    load(tmp_path)
    path = tmp_path / "data" / "secret-key"
    path.write_text(content)
    path.chmod(mode)
    with pytest.raises(SettingsError, match=told) as caught:
        load(tmp_path)
    assert content not in str(caught.value)


def test_given_values_are_taken(tmp_path):
    settings = load(tmp_path, RAILCASE_URL="https://cases.example.org/", RAILCASE_HTTPS="yes", RAILCASE_PROXIES="1",
                    RAILCASE_SECRET_KEY="s" * 32, RAILCASE_DATABASE_URL="postgresql+psycopg://u@h/n")  # fmt: skip
    assert settings.url == "https://cases.example.org"
    assert (settings.https, settings.proxies, settings.secret_key) == (True, 1, "s" * 32)
    assert settings.database_url == "postgresql+psycopg://u@h/n"


@pytest.mark.parametrize(
    ("environ", "https"),
    [({}, False), ({"RAILCASE_URL": "https://x.org"}, True), ({"RAILCASE_URL": "http://x.org"}, False),
     ({"RAILCASE_URL": "https://x.org", "RAILCASE_HTTPS": "no"}, False), ({"RAILCASE_HTTPS": "yes"}, True)],
)  # fmt: skip
def test_cookies_are_secure_wherever_the_address_is(tmp_path, environ, https):
    assert load(tmp_path, **environ).https is https


BAD = [
    ("RAILCASE_HTTPS", "maybe"), ("RAILCASE_URL", "cases.example.org"), ("RAILCASE_URL", "ftp://x"),
    ("RAILCASE_PROXIES", "-1"), ("RAILCASE_PROXIES", "many"), ("RAILCASE_DATABASE_URL", "railcase.db"),
    ("RAILCASE_SECRET_KEY", "short"), ("RAILCASE_DATA", "/proc/nowhere"),
]  # fmt: skip


@pytest.mark.parametrize(("name", "value"), BAD)
def test_a_bad_value_stops_the_start_and_is_named(tmp_path, name, value):
    with pytest.raises(SettingsError, match=name) as caught:
        load(tmp_path, **{name: value})
    assert (value in str(caught.value)) is ("SECRET" not in name)


def test_every_setting_has_its_help():
    assert all(name.startswith("RAILCASE_") and text for name, _, _, text in TABLE)
