"""The operator's commands."""

from __future__ import annotations

import contextlib
import functools
import json
import os
import re
import secrets
import shutil
import sys
import tempfile
from collections.abc import Callable, Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any, TypeVar
from uuid import UUID

import click
import sqlalchemy.exc
from sqlalchemy import func, select

from shimstock_server.app import check_database, create_app, open_database
from shimstock_server.clock import SystemClock
from shimstock_server.config import Config, ConfigError, settings
from shimstock_server.database import fingerprint, in_use
from shimstock_server.database import migrate as migrations
from shimstock_server.database.fingerprint import AnotherSecret
from shimstock_server.database.session import Database
from shimstock_server.database.tables.keys import ApiKey
from shimstock_server.database.tables.shop import Bench
from shimstock_server.database.tables.webhooks import WebhookEndpoint
from shimstock_server.database.words import Scope, Units
from shimstock_server.keys import make_key, revoke_key
from shimstock_server.web.documents import write_document
from shimstock_server.web.fields import instant_text
from shimstock_server.web.problems import Problem

from . import backup as copies
from . import restoring
from .files import in_place_of
from .logs import set_up

Command = TypeVar("Command", bound=Callable[..., Any])


_CAUSES = (ConfigError, migrations.WrongRevision, copies.BackupError, AnotherSecret, in_use.InUse)


def _in_a_sentence(command: Command) -> Command:
    """Turn what an operator can cause into one sentence and exit code 1."""

    @functools.wraps(command)
    def wrapped(*args: Any, **kwargs: Any) -> Any:
        try:
            return command(*args, **kwargs)
        except _CAUSES as error:
            raise click.ClickException(str(error)) from error
        except sqlalchemy.exc.DBAPIError as error:
            reason = str(error.orig).strip().splitlines()[0]
            raise click.ClickException(f"the database does not do that: {reason}") from error
        except OSError as error:
            raise click.ClickException(f"{error.filename or 'files'}: {error.strerror}") from error
        except Problem as problem:
            told = "; ".join(f"{error['pointer'][1:]} {error['message']}" for error in problem.errors or [])
            raise click.ClickException(told or problem.detail) from problem

    return wrapped  # type: ignore[return-value]


@contextlib.contextmanager
def _opened(config: Config) -> Iterator[Database]:
    """Open the database, which must be migrated and belong to this secret, and close it."""
    database = open_database(config)
    try:
        check_database(database, config)
        yield database
    finally:
        database.dispose()


def _setting_help() -> str:
    rows = "\n".join(f"  {name}  {doc} [{default}]" for name, default, doc in settings())
    return f"\b\nSettings, from the environment:\n{rows}"


@click.group(
    epilog=_setting_help(), context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 110}
)
def admin() -> None:
    """Look after the Shimstock service of one shop."""


@admin.command()
@click.option(
    "--to", "revision", default="head", show_default=True, help="Revision to go to; `base` for none."
)
@_in_a_sentence
def migrate(revision: str) -> None:
    """Bring the database's tables to this release. Stop the service first, and make a backup."""
    url = Config.from_environment().database_url
    before = migrations.current(url)
    if revision == "base" or (revision != "head" and before is not None and revision < before):
        migrations.downgrade(url, revision)
    else:
        migrations.upgrade(url, revision)
    click.echo(f"revision {before or 'none'} -> {migrations.current(url) or 'none'}")


@admin.command()
@click.argument("path", type=click.Path(exists=True, path_type=Path))
@click.option("--past", is_flag=True, help="Also the year of jobs that the shop has behind it.")
@_in_a_sentence
def seed(path: Path, *, past: bool) -> None:
    """Fill the shop from the JSON files in PATH; what is there already stays as it is."""
    from . import seed as seeds

    config = Config.from_environment()
    try:
        with _opened(config) as database:
            loaded = seeds.load(database, path, secret=config.secret, past=past)
    except seeds.SeedError as error:
        raise click.ClickException(str(error)) from error
    click.echo(f"added {loaded}")


@admin.group()
def key() -> None:
    """API keys."""


@key.command("create")
@click.option("--name", required=True, help="Who or what will use it.")
@click.option("--scope", required=True, type=click.Choice([scope.value for scope in Scope]))
@click.option("--bench", help="The bench that it stands on, by name or id; bench keys only.")
@click.option("--units", type=click.Choice([units.value for units in Units]), default="mm", show_default=True)
@click.option("--days", type=click.IntRange(1), help="Days until it ends by itself; never by default.")
@click.option(
    "--replaces",
    type=click.UUID,
    metavar="KEY_ID",
    help="The booking key whose bookings and webhooks the new one sees too; `key list` shows its id. "
    "Both are good until the former one is revoked.",
)
@click.option("--json", "as_json", is_flag=True, help="Print it as JSON.")
@_in_a_sentence
def create_key(
    *,
    name: str,
    scope: str,
    bench: str | None,
    units: str,
    days: int | None,
    replaces: UUID | None,
    as_json: bool,
) -> None:
    """Make a key and print it. It is shown here and never again."""
    config, now = Config.from_environment(), SystemClock().now()
    info = {"now": now, "secret": config.secret}
    with _opened(config) as database, database.write(info) as session:
        bench_id = _bench_id(session, bench) if bench else None
        made, token = make_key(
            session,
            name=name,
            scope=Scope(scope),
            now=now,
            bench_id=bench_id,
            units=Units(units),
            expires_at=now + timedelta(days=days) if days else None,
            replaces=replaces,
        )
        identifier = made.id
    if as_json:
        click.echo(json.dumps({"id": str(identifier), "name": name, "scope": scope, "secret": token}))
    else:
        click.echo(token)


def _bench_id(session: Any, bench: str) -> UUID:
    try:
        wanted = Bench.id == UUID(bench)
    except ValueError:
        wanted = Bench.name == bench
    found = session.execute(select(Bench.id).where(wanted)).scalar()
    if found is None:
        known = session.scalars(select(Bench.name).order_by(Bench.name)).all()
        raise click.ClickException(f"there is no bench {bench}; there are: {', '.join(known) or 'none yet'}")
    return UUID(str(found))


@key.command("list")
@_in_a_sentence
def list_keys() -> None:
    """List all keys: id, scope, name, and whether they open anything."""
    config, now = Config.from_environment(), SystemClock().now()
    with _opened(config) as database, database.read() as session:
        for row in session.scalars(select(ApiKey).order_by(ApiKey.created_at, ApiKey.id)):
            if row.revoked_at is not None:
                state = f"revoked {instant_text(row.revoked_at)}"
            elif row.expires_at is not None and row.expires_at <= now:
                state = f"ended {instant_text(row.expires_at)}"
            else:
                used = f"last used {instant_text(row.last_used_at)}" if row.last_used_at else "never used"
                state = f"valid, {used}"
            click.echo(f"{row.id}  shim_{row.lookup}  {row.scope:<8}  {row.name}  ({state})")


@key.command("revoke")
@click.argument("key_id", type=click.UUID)
@_in_a_sentence
def revoke(key_id: UUID) -> None:
    """End a key for good."""
    config, now = Config.from_environment(), SystemClock().now()
    info = {"now": now, "secret": config.secret}
    with _opened(config) as database, database.write(info) as session:
        found = session.get(ApiKey, key_id)
        if found is None:
            raise click.ClickException(f"there is no key {key_id}")
        revoke_key(found, now)
    click.echo(f"revoked {key_id}")


def _address(_context: click.Context, _parameter: click.Parameter, text: str) -> str:
    """Refuse what is no address: gunicorn takes an empty one for every interface of the machine."""
    found = re.fullmatch(r"(?:\[[0-9A-Fa-f:.]+\]|[^\s\[\]:]+):(\d{1,5})", text)
    if not re.fullmatch(r"unix:.+|fd://\d+", text) and (found is None or int(found[1]) > 65535):
        raise click.BadParameter(f"must be HOST:PORT, such as 127.0.0.1:8000, or unix:PATH, not {text!r}")
    return text


@admin.command()
@click.option(
    "--bind",
    default="127.0.0.1:8000",
    show_default=True,
    callback=_address,
    help="HOST:PORT, unix:PATH, or fd://NUMBER of a socket that is handed over.",
)
@click.option("--workers", type=click.IntRange(1, 64), default=2, show_default=True, help="Processes.")
@click.option("--threads", type=click.IntRange(1, 64), default=4, show_default=True, help="Threads in each.")
@_in_a_sentence
def serve(bind: str, workers: int, threads: int) -> None:
    """Answer requests until stopped. The database must be migrated already."""
    config = Config.from_environment()
    with _opened(config):
        pass
    # Where the figures of all processes meet; prometheus_client reads it once, when it is imported.
    folder, first_process = tempfile.mkdtemp(prefix="shimstock-figures-"), os.getpid()
    os.environ["PROMETHEUS_MULTIPROC_DIR"] = folder
    from . import serving

    try:
        serving.serve(config, bind=bind, workers=workers, threads=threads)
    finally:
        # Workers leave through here as well.
        if os.getpid() == first_process:
            shutil.rmtree(folder, ignore_errors=True)


@admin.command()
@_in_a_sentence
def worker() -> None:
    """Do what no request waits for, until stopped. Several workers may run."""
    from shimstock_server.worker import run_until_stopped

    config = Config.from_environment()
    set_up(config.log_level)
    run_until_stopped(open_database(config), config)


@admin.command("rebuild-reports")
@_in_a_sentence
def rebuild_reports() -> None:
    """Count every reading anew for the reports, while the service works."""
    from shimstock_server.learning import rebuild

    config = Config.from_environment()
    with _opened(config) as database:
        bar = click.progressbar(length=0, label="models", file=sys.stderr)
        with bar:

            def tell(done: int, total: int) -> None:
                bar.length = total
                bar.update(done - bar.pos)

            count = rebuild(database, config, SystemClock(), tell)
    click.echo(f"counted {count} models")


@admin.command("export")
@click.argument("path", type=click.Path(dir_okay=False, path_type=Path))
@_in_a_sentence
def export(path: Path) -> None:
    """Write everything that the shop owns to PATH, a zip of open files. It holds customers' names."""
    from shimstock_server.transfer import write_export

    config, now = Config.from_environment(), SystemClock().now()
    with (
        _opened(config) as database,
        database.read() as session,
        in_place_of(path) as part,
        part.open("w+b") as file,
    ):
        manifest = write_export(session, file, now=now)
    rows = sum(table["rows"] for table in manifest["tables"])
    click.echo(f"wrote {path}: {rows} rows of {len(manifest['tables'])} tables")


@admin.command("import")
@click.argument("path", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.option("--dry-run", is_flag=True, help="Read and check everything, and keep nothing.")
@_in_a_sentence
def import_export(path: Path, *, dry_run: bool) -> None:
    """Put the export in PATH into an empty service: migrated, and nothing else.

    No secret is in an export: make keys and owners' links afterwards; webhook endpoints come switched off.
    """
    from shimstock_server.transfer import ImportRefused, read_export

    config, now = Config.from_environment(), SystemClock().now()
    try:
        with _opened(config) as database, database.write({"now": now, "secret": config.secret}) as session:
            counts = read_export(session, path)
            if dry_run:
                session.rollback()
    except ImportRefused as refused:
        raise click.ClickException(str(refused)) from refused
    rows = f"{sum(counts.values())} rows"
    if dry_run:
        click.echo(f"{rows} of {len(counts)} tables can be imported; nothing was kept")
    else:
        click.echo(f"imported {rows} into {len(counts)} tables")


DOCUMENT = Path("openapi") / "shimstock.json"


@admin.command()
@click.option(
    "--check", is_flag=True, help="Change nothing; exit 1 when the file is not that of this release."
)
@click.argument("path", type=click.Path(path_type=Path), default=DOCUMENT)
def openapi(check: bool, path: Path) -> None:
    """Write the OpenAPI document to PATH (openapi/shimstock.json)."""
    document = current_document()
    if not check:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(document, encoding="utf-8")
        click.echo(f"wrote {path}")
    elif not path.is_file() or path.read_text(encoding="utf-8") != document:
        click.echo(f"{path} is not the document of this release: run `shimstock-admin openapi`", err=True)
        sys.exit(1)


def current_document() -> str:
    """Return the OpenAPI document of this release, which depends on no setting and no database."""
    config = Config(secret=secrets.token_urlsafe(32), database_url="sqlite:////dev/null")
    app = create_app(config, check_revision=False)
    return write_document(app.extensions["shimstock"].document(app))


@admin.command()
@click.argument("path", type=click.Path(dir_okay=False, path_type=Path))
@_in_a_sentence
def backup(path: Path) -> None:
    """Copy the database to PATH while the service works."""
    copies.backup(Config.from_environment().database_url, path)
    click.echo(f"wrote {path}")


@admin.command()
@click.argument("path", type=click.Path(dir_okay=False, path_type=Path))
@click.option(
    "--change-secret",
    "changes",
    is_flag=True,
    help="Take a copy that belongs to another SHIMSTOCK_SECRET, which is lost (see change-secret).",
)
@_in_a_sentence
def restore(path: Path, *, changes: bool) -> None:
    """Put the copy in PATH in the place of the database. Stop the service and every worker first.

    The database that was there is kept as `….before-restore`: beside it with SQLite, beside PATH with
    PostgreSQL. A copy of an older release is brought to this one, and owners who were erased since are erased
    again.
    """
    config = Config.from_environment()
    done = restoring.restore(config, path, change_secret=changes)
    click.echo(f"restored from {path}; owners erased again: {done.erased}")
    if done.kept is not None:
        click.echo(f"the database before that is kept as {done.kept}: delete it when all is well")
    if done.secret_changed:
        with _opened(config) as database:
            _tell_of_another_secret(database)


@admin.command("change-secret")
@_in_a_sentence
def change_secret() -> None:
    """Let the database belong to the SHIMSTOCK_SECRET that is set. Stop the service and every worker first.

    What depends on the secret changes with it: every webhook endpoint signs with another secret, every board
    screen asks for a key again, `next` addresses of lists end, and hashes of personal values in the trail
    differ from earlier ones. API keys, owners' pages and calendars stay as they are.
    """
    config = Config.from_environment()
    database = open_database(config)
    try:
        with in_use.alone(config.database_url):
            migrations.check(database.engine)
            if fingerprint.change(database, config.secret):
                _tell_of_another_secret(database)
            else:
                click.echo("the database belongs to this secret already")
    finally:
        database.dispose()


def _tell_of_another_secret(database: Database) -> None:
    with database.read() as session:
        endpoints = session.scalar(select(func.count()).select_from(WebhookEndpoint)) or 0
    click.echo("the database belongs to this secret now: set it on every machine, then start the service")
    click.echo("board screens ask for a key again")
    if endpoints:
        click.echo(
            f"webhook endpoints that sign with another secret now: {endpoints}. Give each a new secret with "
            "POST /v1/webhook-endpoints/{id}/secret and hand it to its website: until then no signature fits"
        )
