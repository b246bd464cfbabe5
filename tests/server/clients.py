"""A test client that holds every answer against the OpenAPI document."""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any
from uuid import UUID

from flask import Flask
from flask.testing import FlaskClient
from jsonschema import Draft202012Validator, FormatChecker
from werkzeug.exceptions import HTTPException
from werkzeug.test import TestResponse

from shimstock_server.web.sharing import resolve

_numbers = itertools.count(1)
_documents: dict[frozenset[str], dict[str, Any]] = {}
_FORMATS = FormatChecker(("uuid", "date-time", "date"))


def document_of(app: Flask) -> dict[str, Any]:
    """Return the OpenAPI document of an app, closed: an answer may hold nothing that it does not name."""
    routes = frozenset(f"{rule.rule} {sorted(rule.methods or ())}" for rule in app.url_map.iter_rules())
    if routes not in _documents:
        _documents[routes] = app.extensions["shimstock"].document(app, closed=True)
    return _documents[routes]


def openapi_path(rule: str) -> str:
    """Return a URL rule as the document writes it: `/keys/<uuid:key_id>` is `/keys/{key_id}`."""
    parts = []
    for part in rule.split("<"):
        argument, closed, rest = part.partition(">")
        parts.append("{" + argument.rsplit(":", 1)[-1] + "}" + rest if closed else part)
    return "".join(parts)


class Contract:
    """The document as a judge of answers."""

    def __init__(self, app: Flask) -> None:
        self.app = app
        self.document = document_of(app)

    def judge(self, response: TestResponse) -> None:
        """Fail when an answer is not one that the document names for this operation."""
        request = response.request
        where = f"{request.method} {request.path} -> {response.status_code}"
        assert response.headers.get("Request-Id"), f"{where} carries no Request-Id"
        rule = self._rule(request.method, request.path)
        if rule is None or response.status_code in (405, 500):
            self._check(where, response, {"$ref": "#/components/schemas/Problem"}, "application/problem+json")
            return
        path = self.document["paths"].get(openapi_path(rule))
        assert path is not None, f"{where}: the document does not know {rule}"
        method = "get" if request.method == "HEAD" else request.method.lower()
        answers = path[method]["responses"]
        assert str(response.status_code) in answers, (
            f"{where}: the document does not name this status\n{response.get_data(as_text=True)[:2000]}"
        )
        content = resolve(self.document, answers[str(response.status_code)]).get("content")
        if not content or request.method == "HEAD":
            assert not response.data, f"{where}: an answer without content has a body"
            return
        assert response.mimetype in content, f"{where}: the document does not name {response.mimetype}"
        self._check(where, response, content[response.mimetype]["schema"], response.mimetype)

    def _rule(self, method: str, path: str) -> str | None:
        try:
            rule, _ = self.app.url_map.bind("localhost").match(path, method=method, return_rule=True)
        except HTTPException:
            return None
        return str(rule.rule)

    def _check(self, where: str, response: TestResponse, schema: Mapping[str, Any], media_type: str) -> None:
        assert response.mimetype == media_type, f"{where}: {response.mimetype} instead of {media_type}"
        if not media_type.endswith("json"):
            return
        validator = Draft202012Validator(
            {**schema, "components": self.document["components"]}, format_checker=_FORMATS
        )
        tree = response.get_json(force=True)
        errors = [f"  {error.json_path}: {error.message[:300]}" for error in validator.iter_errors(tree)]
        assert not errors, f"{where} is not what the document says:\n" + "\n".join(errors)
        if media_type == "application/problem+json":
            assert tree["status"] == response.status_code
            assert "Traceback" not in response.get_data(as_text=True)


def _contract(app: Flask) -> Contract:
    # Kept with the application, so that it goes with it.
    contract: Contract = app.extensions.setdefault("contract", None) or Contract(app)
    app.extensions["contract"] = contract
    return contract


@dataclass
class Client:
    """Speaks to the app with one key.

    A POST gets an Idempotency-Key of its own unless one is given; ``idempotency_key=None`` sends none. A
    bench's writes name its technician.
    """

    app: Flask
    token: str | None
    technician_id: UUID | None = None
    bench_id: UUID | None = None
    key_id: UUID | None = None
    headers: dict[str, str] = field(default_factory=dict)

    def open(
        self,
        method: str,
        path: str,
        *,
        headers: Mapping[str, str | None] | None = None,
        etag: str | None = None,
        idempotency_key: str | bool | None = True,
        **options: Any,
    ) -> TestResponse:
        """Send a request and judge its answer. A header of None is left out."""
        sent: dict[str, str | None] = dict(self.headers)
        if self.token is not None:
            sent["Authorization"] = f"Bearer {self.token}"
        if self.technician_id is not None and method not in ("GET", "HEAD"):
            sent["Technician"] = str(self.technician_id)
        if method == "POST" and idempotency_key:
            sent["Idempotency-Key"] = (
                f"test-{next(_numbers)}" if idempotency_key is True else str(idempotency_key)
            )
        elif idempotency_key and idempotency_key is not True:
            sent["Idempotency-Key"] = str(idempotency_key)
        if etag is not None:
            sent["If-Match"] = etag
        sent |= headers or {}
        browser: FlaskClient = self.app.test_client(use_cookies=False)
        response = browser.open(
            path,
            method=method,
            headers={name: value for name, value in sent.items() if value is not None},
            **options,
        )
        _contract(self.app).judge(response)
        return response

    def get(self, path: str, **options: Any) -> TestResponse:
        """Send a GET."""
        return self.open("GET", path, **options)

    def post(self, path: str, **options: Any) -> TestResponse:
        """Send a POST."""
        return self.open("POST", path, **options)

    def put(self, path: str, **options: Any) -> TestResponse:
        """Send a PUT."""
        return self.open("PUT", path, **options)

    def patch(self, path: str, **options: Any) -> TestResponse:
        """Send a PATCH."""
        return self.open("PATCH", path, **options)

    def delete(self, path: str, **options: Any) -> TestResponse:
        """Send a DELETE."""
        return self.open("DELETE", path, **options)


def pointers(response: TestResponse) -> list[str]:
    """Return the pointers of the bad fields that a problem lists."""
    return [error["pointer"] for error in response.get_json()["errors"]]


def code(response: TestResponse) -> str:
    """Return the code of a problem."""
    return str(response.get_json()["code"])
