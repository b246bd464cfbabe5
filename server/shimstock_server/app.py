"""The application factory: settings, clock and database go in, the service comes out."""

from __future__ import annotations

import importlib
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

import flask_smorest
from flask import Flask
from werkzeug.middleware.proxy_fix import ProxyFix

from . import web
from .clock import Clock, SystemClock
from .config import Config
from .database import migrate
from .database.engine import make_engine
from .database.session import Database
from .web import documents, handling, problems
from .web.blueprint import Blueprint
from .web.limits import RateLimit
from .web.quantities import QUANTITY_SCHEMA
from .web.visibility import rule_for

AREAS: tuple[str, ...] = (
    "shop", "catalogue", "owners", "jobs", "bench", "calculations", "cards", "keys", "operations",
)  # fmt: skip
"""The areas of the service, each a package with its `blueprints`."""

TITLE = "Shimstock"
VERSION = "1.0.0"


@dataclass
class Service:
    """What the running service consists of, beside its routes."""

    config: Config
    clock: Clock
    database: Database
    limit: RateLimit
    api: flask_smorest.Api
    listeners: tuple[Callable[[str, str, int, float], None], ...] = ()
    """Told of every answer: method, route, status, seconds."""

    def document(self, *, closed: bool = False) -> dict[str, Any]:
        """Return the OpenAPI document (see `documents.finish`)."""
        return documents.finish(self.api.spec.to_dict(), closed=closed)


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
        Whether to refuse a database whose tables are not those of this release.
    areas : iterable of str
        The packages to serve: names of this package's own, or whole module names.

    Raises
    ------
    migrate.WrongRevision
        When the database has not been migrated to this release.
    """
    app = Flask("shimstock_server", static_folder=None)
    app.json.sort_keys = False  # type: ignore[attr-defined]
    app.url_map.strict_slashes = False
    app.url_map.merge_slashes = False
    app.config.update(
        API_TITLE=TITLE,
        API_VERSION=VERSION,
        OPENAPI_VERSION="3.1.0",
        OPENAPI_URL_PREFIX=None,
        PROPAGATE_EXCEPTIONS=False,
    )
    if database is None:
        database = open_database(config)
    if check_revision:
        migrate.check(database.engine)
    from .operations import metrics

    service = Service(
        config=config,
        clock=clock or SystemClock(),
        database=database,
        limit=RateLimit(config.rate_per_minute),
        api=_Api(app, spec_kwargs=_spec_options()),
        listeners=(metrics.count,),
    )
    app.extensions["shimstock"] = service
    service.api.spec.components.schema("Quantity", QUANTITY_SCHEMA)
    service.api.spec.components.schema("Problem", documents.PROBLEM_SCHEMA)
    service.api.spec.components.security_scheme(
        "key", {"type": "http", "scheme": "bearer", "description": "An API key: `shim_…`."}
    )
    handling.install(app)
    modules = [importlib.import_module(area if "." in area else f"{__package__}.{area}") for area in areas]
    problems.check_codes()
    for blueprint in (blueprint for module in modules for blueprint in module.blueprints):
        _check_visibility(blueprint)
        service.api.register_blueprint(blueprint)
    if config.proxies:
        app.wsgi_app = ProxyFix(  # type: ignore[method-assign]
            app.wsgi_app, x_for=config.proxies, x_proto=config.proxies, x_host=config.proxies
        )
    return app


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


class _Api(flask_smorest.Api):  # type: ignore[misc]
    """The part of flask-smorest that gathers the document; errors are handled in `web.handling`."""

    DEFAULT_ERROR_RESPONSE_NAME = None

    def _register_error_handlers(self) -> None:
        pass

    def _register_responses(self) -> None:
        pass

    def _register_etag_headers(self) -> None:
        pass

    def _register_pagination_header(self) -> None:
        pass

    def _init_spec(self, **options: Any) -> None:
        super()._init_spec(**options)
        self.ma_plugin.converter.add_attribute_function(documents.openapi_of_field)


def _spec_options() -> dict[str, Any]:
    from apispec.ext.marshmallow import MarshmallowPlugin

    return {
        "marshmallow_plugin": MarshmallowPlugin(schema_name_resolver=_SchemaNames()),
        "info": {
            "summary": "Setting up fretted instruments: queue, readings, plan and card of a workshop.",
            "description": web.DESCRIPTION,
            "license": {"name": "Proprietary"},
        },
        "servers": [{"url": "/"}],
    }


class _SchemaNames:
    """Gives every schema its class's name, and refuses two schemas of one name."""

    def __init__(self) -> None:
        self._seen: dict[str, type[Any]] = {}

    def __call__(self, schema: Any) -> str:
        cls: Any = schema if isinstance(schema, type) else type(schema)
        name = str(cls.component_name())
        if self._seen.setdefault(name, cls) is not cls:
            raise TypeError(
                f"two schemas are named {name}: {self._seen[name].__module__} and {cls.__module__}"
            )
        return name


def _check_visibility(blueprint: Blueprint) -> None:
    for operation in blueprint.operations:
        for part in operation.rule.split("<uuid:")[1:]:
            argument = part.split(">", 1)[0]
            if rule_for(argument) is None:
                raise RuntimeError(
                    f"{operation.method} {operation.rule}: nobody has said who may see {argument} "
                    "(see web/visibility.py)"
                )
