"""Gathers what every operation says of itself into the OpenAPI document, with flask-smorest and apispec."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any

import flask_smorest
from apispec.ext.marshmallow import MarshmallowPlugin
from flask import Flask

from . import DESCRIPTION, documents
from .blueprint import Blueprint
from .quantities import QUANTITY_SCHEMA

TITLE = "Shimstock"
VERSION = "1.0.0"


def gather(
    app: Flask, blueprints: Iterable[Blueprint], describers: Iterable[Callable[[Any], None]] = ()
) -> dict[str, Any]:
    """Return the OpenAPI document of what these blueprints serve, as it comes (see `documents.finish`).

    Describers add to it what is no route.

    Raises
    ------
    TypeError
        When two schemas have one name.
    """
    app.config.update(API_TITLE=TITLE, API_VERSION=VERSION, OPENAPI_VERSION="3.1.0", OPENAPI_URL_PREFIX=None)
    api = _Api(app, spec_kwargs=_options())
    api.spec.components.schema("Quantity", QUANTITY_SCHEMA)
    api.spec.components.schema("Problem", documents.PROBLEM_SCHEMA)
    api.spec.components.security_scheme(
        "key", {"type": "http", "scheme": "bearer", "description": "An API key: `shim_…`."}
    )
    for blueprint in blueprints:
        blueprint.register_views_in_doc(api, app, api.spec, name=blueprint.name, parameters=None)
        api.spec.tag({"name": blueprint.name, "description": blueprint.description})
    for describe in describers:
        describe(api.spec)
    document: dict[str, Any] = api.spec.to_dict()
    return document


class _Api(flask_smorest.Api):  # type: ignore[misc]
    """The part of flask-smorest that makes the document; errors are handled in `web.handling`."""

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


def _options() -> dict[str, Any]:
    return {
        "marshmallow_plugin": MarshmallowPlugin(schema_name_resolver=_SchemaNames()),
        "info": {
            "summary": "Setting up fretted instruments: queue, readings, plan and card of a workshop.",
            "description": DESCRIPTION,
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
