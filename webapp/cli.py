"""The `railcase` command: judging and folding files, the catalogue, and running the server.

Exit codes: 0 fine, 2 bad input, with one line per problem on standard error naming the field. Never a traceback.
"""

import json
import logging.config
import multiprocessing
import shutil
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO

import click
import segno
from gunicorn.app.base import BaseApplication
from sqlalchemy.exc import OperationalError

from webapp import __version__, meters, observe
from webapp.app import create_app
from webapp.engine.calls import Door
from webapp.engine.electrics import check_sensor
from webapp.engine.problems import EngineError, problem_rows
from webapp.library.loader import LibraryError, load_catalogue, open_door
from webapp.report.pdf import print_report
from webapp.settings import Settings, SettingsError, load_settings
from webapp.store import (
    archive,
    archive_import,
    backup,
    demo,
    health,
    move,
    pairings,
    people,
    photos,
    projection,
    retention,
    scope,
    uploads,
)
from webapp.store import log as case_log
from webapp.store import verify as whole_store
from webapp.store.db import MIGRATIONS, Database, downgrade, migrate
from webapp.store.refusals import Refusal
from webapp.tracefile.reader import read_file

BAD_INPUT = 2
DEFAULT_WORKSHOP = "Workshop"
LINE_LIMIT_BYTES = 20_000_000


class BadInput(click.ClickException):
    """Problems for standard error, a line each."""

    exit_code = BAD_INPUT

    def __init__(self, problems: list[dict]):
        super().__init__("; ".join(f"{p['field']}: {p['text']}" for p in problems))
        self.problems = problems

    def show(self, file=None) -> None:
        for problem in self.problems:
            click.echo(f"{problem['field']}: {problem['text']}", err=True)


@click.group()
@click.version_option(__version__)
def main() -> None:
    """Prove where a common-rail diesel loses its rail pressure before the pump is taken off."""


@contextmanager
def plain_errors() -> Iterator[None]:
    """Turn what can go wrong with settings, data files and the database into one plain line each."""
    try:
        yield
    except Refusal as error:
        raise BadInput(error.problems) from None
    except SettingsError as error:
        raise BadInput([{"field": "settings", "text": str(error)}]) from None
    except LibraryError as error:
        raise BadInput([{"field": "library", "text": str(error)}]) from None
    except OperationalError as error:
        text = f"cannot be used ({error.orig}); check RAILCASE_DATABASE_URL and that 'railcase migrate' was run"
        raise BadInput([{"field": "database", "text": text}]) from None


def read_text(source: BinaryIO) -> str:
    """Return the text of FILE or standard input; refuse what is not UTF-8."""
    try:
        return source.read().decode("utf-8-sig")
    except UnicodeDecodeError as error:
        problem = {"field": "file", "text": f"is not UTF-8 text (byte {error.start}); save it as UTF-8"}
        raise BadInput([problem]) from None


def answer(door: Door, name: str, text: str) -> dict:
    """Return the engine's answer; refuse with its problems."""
    reply = json.loads(door.call(name, text))
    if "error" in reply:
        raise BadInput(reply["error"])
    return reply["ok"]


def print_json(value: object) -> None:
    click.echo(json.dumps(value, indent=2, ensure_ascii=False))


def judge_line(door: Door, line: bytes) -> str:
    """Return one line of output for one line of input, the assessment or {"error": [...]}."""
    try:
        reply = door.call("judge", line.decode("utf-8"))
    except UnicodeDecodeError:
        reply = json.dumps({"error": [{"code": "not_text", "field": "line", "text": "is not UTF-8 text"}]})
    if reply.startswith('{"ok": '):
        return reply[len('{"ok": ') : -1]
    return reply


@main.command()
@click.argument("file", type=click.File("rb"), default="-")
@click.option("--lines", is_flag=True, help="One case a line in, one assessment a line out; a bad line does not stop it.")
def judge(file, lines: bool) -> None:
    """Judge a case document (JSON) from FILE or standard input."""
    with plain_errors():
        door = open_door()
        if not lines:
            print_json(answer(door, "judge", read_text(file)))
            return
        for line in file:
            if line.strip():
                click.echo(judge_line(door, line))


@main.command()
@click.argument("file", type=click.File("rb"), default="-")
def fold(file) -> None:
    """Fold entries (JSON lines, any order, repeats allowed) from FILE or standard input into the case document."""
    with plain_errors():
        entries, problems = [], []
        for number, line in enumerate(read_text(file).splitlines(), 1):
            try:
                entries += [json.loads(line)] if line.strip() else []
            except (ValueError, RecursionError) as error:
                problems.append({"field": f"line {number}", "text": f"is not JSON ({error})"})
        if problems:
            raise BadInput(problems)
        print_json(answer(open_door(), "fold", json.dumps({"entries": entries})))


@main.command()
def catalogue() -> None:
    """Print the checks, quantities, limits, faults and codes as JSON."""
    with plain_errors():
        print_json(load_catalogue())


def read_sensor(text: str | None) -> list | None:
    """Return the sensor's points from 'V:bar,V:bar'."""
    if text is None:
        return None
    try:
        points = [[float(number) for number in pair.split(":")] for pair in text.split(",")]
        return check_sensor(points, "--sensor")
    except EngineError as error:
        raise BadInput(problem_rows(error.problems)) from None
    except ValueError:
        problem = {"field": "--sensor", "text": f"{text!r} is not two pairs volts:bar, such as 0.5:0,4.5:1800"}
        raise BadInput([problem]) from None


def answer_trace(request: dict) -> dict:
    return answer(open_door(), "trace", json.dumps(request))


@contextmanager
def file_on_disk(file: Path) -> Iterator[Path]:
    """The file itself, or what standard input brings (`-`), kept on disk meanwhile: a trace is read more than once."""
    if file != Path("-"):
        yield file
        return
    with tempfile.NamedTemporaryFile(suffix=".csv") as kept:
        shutil.copyfileobj(sys.stdin.buffer, kept)
        kept.flush()
        yield Path(kept.name)


@main.command()
@click.argument("file", type=click.Path(exists=True, dir_okay=False, allow_dash=True, path_type=Path))
@click.option("--pressure", metavar="COLUMN", help="Column of the rail pressure, by its header or its number from 1.")
@click.option("--time", metavar="COLUMN", help="Column of time, likewise.")
@click.option(
    "--pressure-unit", metavar="UNIT", help="Unit of the pressure where the file does not say it: bar, kPa, psi ..."
)
@click.option("--time-unit", metavar="UNIT", help="Unit of time where the file does not say it: s, ms, us ...")
@click.option("--sensor", metavar="V:BAR,V:BAR", help="Pressure as sensor volts: two points of the sensor's data.")
@click.option(
    "--target", type=float, multiple=True, default=(200.0, 285.0), show_default=True, help="Pressure [bar] to time to."
)
@click.option("--cylinders", type=click.IntRange(1, 16), help="Cylinders of the engine, for the cranking speed.")
@click.option("--start", type=float, help="Start of cranking [s], where the trace does not show it.")
def trace(file: Path, sensor: str | None, target: tuple, start: float | None, **options) -> None:
    """Read a recorded trace (CSV of any logger or oscilloscope) and print what it shows of the rise of pressure.

    FILE is - for standard input.
    """
    options |= {"sensor": read_sensor(sensor), "targets": list(target), "start_s": start}
    with plain_errors(), file_on_disk(file) as found:
        try:
            print_json(read_file(found, options, answer_trace))
        except EngineError as error:
            raise BadInput(problem_rows(error.problems)) from None


class Server(BaseApplication):
    """gunicorn, started from this process."""

    def __init__(self, settings: Settings, options: dict):
        self.settings_of_app, self.options = settings, options
        super().__init__()

    def load_config(self) -> None:
        for name, value in self.options.items():
            self.cfg.set(name, value)

    def load(self):
        return create_app(self.settings_of_app)


def share_meters(settings: Settings) -> None:
    try:
        meters.share(settings.data / "meters")
    except OSError as error:
        text = f"'{error.filename}' cannot be used ({error.strerror}); check RAILCASE_DATA and its disk"
        raise BadInput([{"field": "data", "text": text}]) from None


def say_where(url: str, settings: Settings) -> None:
    """Print the address, and how to make the first office account while there is none."""
    click.echo(f"railcase is at {url}  (phone app; the office signs in at {url}/office/)")
    with Database(settings).reading() as session:
        if not scope.list_workshops(session):
            click.echo("No account yet. Make the first one with: railcase person add --role office")
            click.echo("  (or look around with an invented workshop: railcase demo)")


@main.command()
@click.option("--host", default="127.0.0.1", show_default=True, help="Address to listen on.")
@click.option("--port", default=8700, show_default=True, type=click.IntRange(1, 65535))
@click.option(
    "--workers", default=min(4, multiprocessing.cpu_count() + 1), show_default="by cores", type=click.IntRange(1, 64)
)
def serve(host: str, port: int, workers: int) -> None:
    """Bring the database up to date and serve phones and office."""
    with plain_errors():
        settings = load_settings()
        migrate(settings)
        say_where(settings.url or f"http://{host}:{port}", settings)
        share_meters(settings)
    logging.config.dictConfig(observe.LOGGING)
    options = {
        "bind": f"{host}:{port}",
        "workers": workers,
        "worker_class": "gthread",
        "threads": 4,
        "accesslog": None,
        "control_socket_disable": True,  # it would lie in the home folder, one for all servers of this user
        "logconfig_dict": observe.LOGGING,
        "child_exit": lambda _server, worker: meters.forget_process(worker.pid),
    }
    Server(settings, options).run()


@main.command("migrate")
@click.option("--back-to", metavar="TABLES", help="Take the tables back to what an older version had ('railcase tables').")
def migrate_tables(back_to: str | None) -> None:
    """Bring the database's tables up to date."""
    with plain_errors():
        if back_to:
            downgrade(load_settings(), back_to)
            click.echo(f"The tables are those of {back_to}.")
            return
        migrate(load_settings())
        click.echo("The tables are up to date.")


@main.command("tables")
def tables() -> None:
    """Print the version of the tables that this program works with, whatever the database has."""
    click.echo(health.newest_revision(str(MIGRATIONS)))


@main.command("demo")
def fill_with_demo() -> None:
    """Add an invented workshop with invented people and cases, marked as such."""
    with plain_errors():
        settings = load_settings()
        migrate(settings)
        with Database(settings).writing() as session:
            for line in demo.fill_demo(session):
                click.echo(line)


@main.group()
def person() -> None:
    """People who sign in or work by phone."""


def choose_workshop(session, name: str | None) -> scope.Workshop:
    """Return the workshop of that name, made when there is none; without a name the only one there is."""
    found = scope.list_workshops(session)
    if name is None and len(found) == 1:
        return found[0]
    if name is None and found:
        names = ", ".join(repr(workshop.row().name) for workshop in found)
        raise BadInput([{"field": "--workshop", "text": f"there is more than one; name one of {names}"}])
    wanted = name or DEFAULT_WORKSHOP
    return scope.find_workshop(session, wanted) or scope.add_workshop(session, wanted)


@person.command("add")
@click.option("--name", prompt="Name", help="As reports show it.")
@click.option("--login", prompt="Sign-in name (an address or a short name)")
@click.option("--role", type=click.Choice(people.ROLES), default="technician", show_default=True)
@click.option("--workshop", help="Name of the workshop; made when there is none of that name.")
@click.password_option(help="At least 12 characters; asked for when left out.")
def person_add(name: str, login: str, role: str, workshop: str | None, password: str) -> None:
    """Add a person who can sign in."""
    with plain_errors():
        settings = load_settings()
        migrate(settings)
        with Database(settings).writing() as session:
            chosen = choose_workshop(session, workshop)
            people.add_person(chosen, name=name, role=role, login=login, password=password)
            click.echo(f"{name} can sign in as {login} ({role}, {chosen.row().name}).")


@main.command()
@click.argument("login")
@click.option("--workshop", help="Name of the workshop, where there is more than one.")
@click.option("--unchecked", is_flag=True, help="Let the phone in without comparing the number that it shows.")
def pair(login: str, workshop: str | None, unchecked: bool) -> None:
    """Invite one phone for the person with this LOGIN: prints a code and a QR picture, good once, for ten minutes."""
    with plain_errors():
        settings = load_settings()
        with Database(settings).writing() as session:
            chosen = choose_workshop(session, workshop)
            wanted = [p for p in people.list_people(chosen) if p.login == login.strip().lower()]
            if not wanted:
                raise BadInput([{"field": "LOGIN", "text": f"nobody signs in as {login!r}; see 'railcase person add'"}])
            invitation = pairings.invite(chosen, wanted[0].id, needs_check=not unchecked)
        link = f"{settings.url or 'http://127.0.0.1:8700'}/#pair={invitation.secret}"
        click.echo(f"Code: {invitation.code}   (good once, for ten minutes)\nLink: {link}")
        segno.make(link, error="m").terminal(out=sys.stdout, compact=True)
        if not unchecked:
            click.echo("The phone then shows a number. Let it in on the office page Phones, or with: railcase let-in NUMBER")


@main.command("let-in")
@click.argument("number")
@click.option("--workshop", help="Name of the workshop, where there is more than one.")
def let_in(number: str, workshop: str | None) -> None:
    """Let in the phone that shows this NUMBER and waits."""
    with plain_errors(), Database(load_settings()).writing() as session:
        chosen = choose_workshop(session, workshop)
        wanted = [row.id for row, _ in pairings.list_waiting(chosen) if row.number == "".join(number.split())]
        if not wanted:
            text = f"no phone waits with {number!r}; read the number again, or make a new code with 'railcase pair'"
            raise BadInput([{"field": "NUMBER", "text": text}])
        click.echo(f"{pairings.confirm(chosen, wanted[0]).name} is paired.")


@main.command()
def rebuild() -> None:
    """Make the office's tables anew from the log of entries."""
    with plain_errors():
        opened = Database(load_settings())
        with opened.writing() as session:
            done = sum(projection.rebuild(workshop) for workshop in scope.list_workshops(session))
        photos.drop_copies(opened.photos)
        click.echo(f"{done} cases rebuilt from their logs; copies of photos are drawn again when looked at.")


@main.command()
def sweep() -> None:
    """Away with pieces of photos that no phone has gone on sending for a month."""
    with plain_errors():
        with (opened := Database(load_settings())).reading() as session:
            done = sum(uploads.sweep(workshop, opened.photos) for workshop in scope.list_workshops(session))
        click.echo(f"{done} unfinished photos swept.")


def show_missing(missing: list[str]) -> None:
    if missing:
        raise BadInput([{"field": "photo", "text": f"{sha256} is missing; all else is there"} for sha256 in missing])


@main.command("backup")
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
def make_backup(file: Path) -> None:
    """Write database and photos, as of one moment, to FILE while the server runs (SQLite; for PostgreSQL it says how)."""
    with plain_errors():
        done = backup.back_up(load_settings(), file)
        click.echo(f"{done.entries} entries and {done.photos} photos are in {file}.")
        show_missing(done.missing)


@main.command("restore")
@click.argument("file", type=click.Path(exists=True, dir_okay=False, path_type=Path), required=False)
@click.option("--marked", is_flag=True, help="The database was put back by other means; only move the phones' cursors on.")
def restore_backup(file: Path | None, marked: bool) -> None:
    """Put a backup from FILE into an empty data folder."""
    with plain_errors():
        settings = load_settings()
        if marked == (file is not None):
            raise BadInput([{"field": "FILE", "text": "name the backup, or say --marked, not both"}])
        if file is None:
            click.echo(f"Moved on: {backup.mark_restored(Database(settings))} workshops.")
            return
        done = backup.restore(settings, file)
        click.echo(f"{done.entries} entries and {done.photos} photos are back. Check them with 'railcase verify'.")
        show_missing(done.missing)


@main.command("verify")
@click.argument("file", type=click.Path(exists=True, dir_okay=False, path_type=Path), required=False)
def verify_everything(file: Path | None) -> None:
    """Check every log, photo and list against what was once written, or one exported case in FILE; exit code 2 names what
    is wrong."""
    with plain_errors():
        if file is not None:
            whole = archive.read_archive(file.read_bytes())
            click.echo(f"Case {whole.case_id}: {len(whole.rows)} entries and {len(whole.photos)} photos, all of them whole.")
            click.echo(f"Its seal, as the report of the same state prints it: {whole.seal}")
            return
        found = whole_store.verify(Database(load_settings()))
        click.echo(f"{found.entries} entries in {found.cases} cases, {found.photos} photos, {found.waiting} cases waiting.")
        if found.problems:
            raise BadInput([{"field": "verify", "text": problem} for problem in found.problems])


@main.command("move-database")
@click.argument("source", metavar="FROM")
@click.argument("target", metavar="TO")
def move_database(source: str, target: str) -> None:
    """Write everything in the database at the address FROM into the empty one at TO (SQLite to PostgreSQL, or back)."""
    with plain_errors():
        done = move.move_database(load_settings(), source, target)
    click.echo(f"{done.rows} rows in {done.tables} tables are in TO, read back and equal. FROM is as it was; photos stay.")
    click.echo("Set RAILCASE_DATABASE_URL to TO, run 'railcase verify', then start the servers.")


@main.command("export")
@click.argument("case")
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path), required=False)
def export_case(case: str, file: Path | None) -> None:
    """Write one CASE with its photos, assessment and report to a zip file that proves itself (default: CASE.zip)."""
    with plain_errors():
        opened = Database(load_settings())
        file = file or Path(f"{case}.zip")
        with opened.reading() as session:
            workshop = case_log.find_workshop_of(scope.list_workshops(session), case)
            _, report = print_report(workshop, opened.photos, case)
            data = archive.write_archive(workshop, opened.photos, case, {"report.pdf": report})
        try:
            file.write_bytes(data)
        except OSError as error:
            raise BadInput([{"field": "FILE", "text": f"'{file}' cannot be written ({error.strerror})"}]) from None
        click.echo(f"The case is in {file}. Check it anywhere with: railcase verify {file}")


@main.command("import")
@click.argument("file", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.option("--workshop", help="Name of the workshop, where there is more than one.")
def import_case(file: Path, workshop: str | None) -> None:
    """Take an exported case in; a second time changes nothing, and one that was altered is refused."""
    with plain_errors():
        opened = Database(load_settings())
        with opened.writing() as session:
            workshop_id = choose_workshop(session, workshop).id
        done = archive_import.take_in(opened, workshop_id, file.read_bytes())
        click.echo(f"Case {done.case_id}: {done.entries} entries and {done.photos} photos are new here.")
        for note in done.notes:
            click.echo(note)


@main.command("retention")
@click.option("--apply", "is_meant", is_flag=True, help="Erase; without it, only show what would be erased.")
@click.option("--workshop", help="Name of the workshop; without it, all of them.")
def keep_to_retention(is_meant: bool, workshop: str | None) -> None:
    """Erase personal data of finished cases that rest longer than their workshop keeps them (set in the office)."""
    with plain_errors():
        for line in retention.keep_to(Database(load_settings()), workshop, is_meant):
            click.echo(line)
