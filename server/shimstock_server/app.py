"""The application factory: settings, clock and database go in, the service comes out."""

from __future__ import annotations

import importlib
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from types import ModuleType
from typing import Any

from flask import Flask
from werkzeug.middleware.proxy_fix import ProxyFix

from .clock import Clock, SystemClock
from .config import Config
from .database import fingerprint, migrate
from .database.engine import make_engine
from .database.session import Database
from .web import documents, gathering, handling, problems
from .web.blueprint import Blueprint
from .web.limits import RateLimit
from .web.visibility import rule_for

AREAS: tuple[str, ...] = (
    "shop", "catalogue", "owners", "jobs", "bench", "calculations", "curves", "cards", "booking", "webhooks",
    "seasons", "learning", "reports", "transfer", "keys", "operations",
)  # fmt: skip
"""The areas of the service, each a package with its `blueprints`."""


@dataclass
class Service:
    """What the running service consists of, beside its routes."""

    config: Config
    clock: Clock
    database: Database
    limit: RateLimit
    blueprints: tuple[Blueprint, ...] = ()
    describers: tuple[Callable[[Any], None], ...] = ()
    """Add to the OpenAPI document what is no route, such as webhooks."""
    listeners: tuple[Callable[[str, str, int, float], None], ...] = ()
    """Told of every answer: method, route, status, seconds."""

    def document(self, app: Flask, *, closed: bool = False) -> dict[str, Any]:
        """Return the OpenAPI document (see `documents.finish`); made when it is asked for, since few ask."""
        return documents.finish(gathering.gather(app, self.blueprints, self.describers), closed=closed)


def create_app(
    config: Config,
    clock: Clock | None = None,
    *,
    database: Database | None = None,
    check_revision: bool = True,
    areas: Iterable[str] = AREAS,
) -> Flask:
    """Return the service as a WSGI application.

    Parameters
    ----------
    config : Config
        The settings.
    clock : Clock, optional
        The one clock; the machine's by default.
    database : Database, optional
        The database; made from the settings by default.
    check_revision : bool
        Whether to refuse a database whose tables are not those of this release, or of another secret.
    areas : iterable of str
        The packages to serve: names of this package's own, or whole module names.

    Raises
    ------
    migrate.WrongRevision
        When the database has not been migrated to this release.
    fingerprint.AnotherSecret
        When the database belongs to another secret.
    """
    app = Flask("shimstock_server", static_folder=None)
    app.json.sort_keys = False  # type: ignore[attr-defined]
    app.url_map.strict_slashes = False
    app.url_map.merge_slashes = False
    app.config["PROPAGATE_EXCEPTIONS"] = False
    if database is None:
        database = open_database(config)
    if check_revision:
        check_database(database, config)
    from .operations import metrics

    service = Service(
        config=config,
        clock=clock or SystemClock(),
        database=database,
        limit=RateLimit(config.rate_per_minute),
        listeners=(metrics.count,),
    )
    app.extensions["shimstock"] = service
    handling.install(app)
    modules = import_areas(areas)
    service.describers = tuple(module.describe for module in modules if hasattr(module, "describe"))
    problems.check_codes()
    service.blueprints = tuple(blueprint for module in modules for blueprint in module.blueprints)
    for blueprint in service.blueprints:
        _check_visibility(blueprint)
        app.register_blueprint(blueprint)
    if config.proxies:
        app.wsgi_app = ProxyFix(  # type: ignore[method-assign]
            app.wsgi_app, x_for=config.proxies, x_proto=config.proxies, x_host=config.proxies
        )
    return app


def import_areas(areas: Iterable[str] = AREAS) -> list[ModuleType]:
    """Load the areas' packages: most of the time that it takes to make an application."""
    return [importlib.import_module(area if "." in area else f"{__package__}.{area}") for area in areas]


def open_database(config: Config) -> Database:
    """Return the database that the settings name."""
    engine = make_engine(
        config.database_url,
        pool_size=config.pool_size,
        write_wait=config.write_wait,
        statement_timeout=config.statement_timeout,
        prepare_threshold=config.prepare_threshold,
    )
    return Database(engine, write_wait=config.write_wait)


def check_database(database: Database, config: Config) -> None:
    """Refuse a database on which this release must not work with these settings.

    Raises
    ------
    migrate.WrongRevision
        When it has not been migrated to this release.
    fingerprint.AnotherSecret
        When it belongs to another secret.
    """
    migrate.check(database.engine)
    fingerprint.check(database, config.secret)


def _check_visibility(blueprint: Blueprint) -> None:
    for operation in blueprint.operations:
        for part in operation.rule.split("<uuid:")[1:]:
            argument = part.split(">", 1)[0]
            if rule_for(argument) is None:
                raise RuntimeError(
                    f"{operation.method} {operation.rule}: nobody has said who may see {argument} "
                    "(see web/visibility.py)"
                )
