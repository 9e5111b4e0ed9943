"""Every setting of the server, read from the environment in this file only; a bad value stops the start."""

import contextlib
import os
import secrets
import tempfile
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path
from urllib.parse import urlsplit

SHORTEST_SECRET_KEY = 32
SHORTEST_METRICS_TOKEN = 16
EVERYBODY = 0o007


class SettingsError(ValueError):
    """A setting cannot be used; the text names it, its value and the remedy."""


@dataclass(frozen=True)
class Settings:
    """What the server was told. `url` is None when links follow the address that the browser asked for."""

    data: Path
    database_url: str
    secret_key: str
    url: str | None = None
    https: bool = False
    proxies: int = 0
    photos: str | None = None
    metrics_token: str | None = None


def to_path(text: str) -> Path:
    return Path(text).expanduser().resolve()


def to_truth(text: str) -> bool:
    words = {"1": True, "true": True, "yes": True, "on": True, "0": False, "false": False, "no": False, "off": False}
    if text.lower() not in words:
        raise ValueError("write yes or no")
    return words[text.lower()]


def to_count(text: str) -> int:
    if not (text.isdecimal() and int(text) <= 9):
        raise ValueError("write a whole number from 0 to 9")
    return int(text)


def to_base_url(text: str) -> str:
    parts = urlsplit(text)
    if parts.scheme not in ("http", "https") or not parts.netloc or parts.query or parts.fragment:
        raise ValueError("write an address such as https://cases.example.org")
    return text.rstrip("/")


def to_database_url(text: str) -> str:
    if "://" not in text:
        raise ValueError("write sqlite:///file.db or postgresql+psycopg://user@host/name")
    return text


def to_bucket(text: str) -> str:
    if not text.startswith("s3://") or not urlsplit(text).netloc:
        raise ValueError("write s3://bucket/prefix?endpoint=https://host, or unset it to keep photos in the data folder")
    if find_spec("boto3") is None:
        raise ValueError("its client is not installed; install railcase with the extra 's3'")
    return text


def to_metrics_token(text: str) -> str:
    if len(text) < SHORTEST_METRICS_TOKEN or not text.isascii() or not text.isprintable():
        raise ValueError(f"write at least {SHORTEST_METRICS_TOKEN} plain characters")
    return text


def to_secret_key(text: str) -> str:
    if len(text) < SHORTEST_SECRET_KEY:
        raise ValueError(f"write at least {SHORTEST_SECRET_KEY} random characters")
    return text


# name, converter, value when unset, help
TABLE: list[tuple[str, Callable, str | None, str]] = [
    ("RAILCASE_DATA", to_path, "var", "folder for the database, the photos and the secret key"),
    ("RAILCASE_DATABASE_URL", to_database_url, None, "database; unset: railcase.db in the data folder"),
    ("RAILCASE_SECRET_KEY", to_secret_key, None, "signs the cookies; unset: made once, kept in the data folder"),
    ("RAILCASE_URL", to_base_url, None, "public address for pairing links; unset: the address that was asked for"),
    ("RAILCASE_HTTPS", to_truth, None, "yes: Secure cookies, browsers insist on https; unset: as RAILCASE_URL begins"),
    ("RAILCASE_PROXIES", to_count, "0", "how many reverse proxies stand in front and set X-Forwarded-* headers"),
    (
        "RAILCASE_PHOTOS",
        to_bucket,
        None,
        "photos in s3://bucket/prefix?endpoint=URL; unset: in the data folder",
    ),
    ("RAILCASE_METRICS_TOKEN", to_metrics_token, None, "opens /metrics to who sends it as a bearer token; unset: shut"),
]


def read_setting(environ: Mapping[str, str], row: tuple[str, Callable, str | None, str]):
    name, convert, unset, _ = row
    text = environ.get(name) or unset
    if text is None:
        return None
    try:
        return convert(text)
    except ValueError as problem:
        shown = "(not shown)" if "SECRET" in name or "TOKEN" in name else repr(text)
        raise SettingsError(f"{name}: {shown} cannot be used; {problem}") from problem


def keep_secret_key(data: Path) -> str:
    """Return the key kept in the data folder, made on the first start and readable by its owner only.

    It appears whole or not at all, so that two processes that start at once agree on one. *Refuses* a key that everybody
    may read: whoever has it can make cookies.
    """
    path = data / "secret-key"
    if not path.exists():
        handle, made = tempfile.mkstemp(dir=data, prefix=".secret-key-")  # 0600 from its first moment
        with os.fdopen(handle, "w") as file:
            file.write(secrets.token_urlsafe(48))
        with contextlib.suppress(FileExistsError):
            os.link(made, path)
        os.unlink(made)
    if path.stat().st_mode & EVERYBODY:
        raise SettingsError(f"{path} can be read by everybody; run chmod 600 on it, or set RAILCASE_SECRET_KEY")
    key = path.read_text().strip()
    if len(key) < SHORTEST_SECRET_KEY:
        raise SettingsError(f"{path} holds {len(key)} characters; delete it to have a new one made")
    return key


def is_https(values: dict) -> bool:
    said = values["RAILCASE_HTTPS"]
    return (values["RAILCASE_URL"] or "").startswith("https:") if said is None else said


def load_settings(environ: Mapping[str, str] = os.environ) -> Settings:
    """Read the environment. *Refuses* with SettingsError, naming the setting."""
    values = {row[0]: read_setting(environ, row) for row in TABLE}
    data = values["RAILCASE_DATA"]
    try:
        data.mkdir(mode=0o700, parents=True, exist_ok=True)
        secret_key = values["RAILCASE_SECRET_KEY"] or keep_secret_key(data)
    except OSError as problem:
        raise SettingsError(f"RAILCASE_DATA: '{data}' cannot be used; {problem.strerror}, name another folder") from None
    return Settings(
        data=data,
        database_url=values["RAILCASE_DATABASE_URL"] or f"sqlite:///{data / 'railcase.db'}",
        secret_key=secret_key,
        url=values["RAILCASE_URL"],
        https=is_https(values),
        proxies=values["RAILCASE_PROXIES"],
        photos=values["RAILCASE_PHOTOS"],
        metrics_token=values["RAILCASE_METRICS_TOKEN"],
    )
