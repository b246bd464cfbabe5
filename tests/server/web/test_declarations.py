"""What an area cannot declare: the service does not start with it."""

from __future__ import annotations

from collections.abc import Callable
from types import ModuleType
from typing import Any
from uuid import UUID

import marshmallow
import pytest
from flask import Flask

from shimstock_server.web.blueprint import Answer, Blueprint
from shimstock_server.web.fields import StrictSchema, Text
from shimstock_server.web.problems import Conflict, check_codes
from shimstock_server.web.visibility import visibility


class LooseSchema(marshmallow.Schema):
    """A schema that lets anything in."""


class QueryFieldIn(StrictSchema):
    """A body whose field cannot be told from a parameter."""

    query = Text()


def show_it(**_: Any) -> None:
    """Show it."""


def silent(**_: Any) -> None:
    pass


silent.__doc__ = None


@pytest.mark.parametrize(
    ("method", "options", "message"),
    [
        ("FETCH", {}, "knows no such method"),
        ("GET", {"writes": True}, "a GET neither writes nor takes a body"),
        ("GET", {"body": QueryFieldIn}, "a GET neither writes nor takes a body"),
        ("POST", {"creates": "key"}, "what creates or edits writes"),
        ("PATCH", {"edits": True}, "what creates or edits writes"),
        ("POST", {"scopes": None}, "an id in the address needs a key"),
        ("POST", {"writes": True, "creates": "client-id"}, "stands in the body as `id`"),
        ("POST", {"body": LooseSchema}, "is not strict"),
        ("POST", {"body": QueryFieldIn}, "cannot be told from a parameter"),
    ],
)
def test_contradictions(method: str, options: dict[str, Any], message: str) -> None:
    with pytest.raises(TypeError, match=message):
        Blueprint("bad", "Bad.").operation(
            method, "/x/<uuid:x_id>", **{"scopes": (), "status": 204, **options}
        )(show_it)


def test_a_view_says_what_it_does() -> None:
    with pytest.raises(TypeError, match="docstring"):
        Blueprint("bad", "Bad.").operation("GET", "/x", scopes=(), status=204)(silent)


def area(monkeypatch: pytest.MonkeyPatch, blueprint: Blueprint) -> str:
    module = ModuleType("tests.an_area")
    module.blueprints = (blueprint,)  # type: ignore[attr-defined]
    monkeypatch.setitem(__import__("sys").modules, "tests.an_area", module)
    return "tests.an_area"


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_an_id_that_nobody_guards(make_app: Callable[..., Flask], monkeypatch: pytest.MonkeyPatch) -> None:
    blueprint = Blueprint("unguarded", "An id without a rule.")
    blueprint.operation("GET", "/x/<uuid:unguarded_id>", scopes=(), status=204)(show_it)
    with pytest.raises(RuntimeError, match="nobody has said who may see unguarded_id"):
        make_app(areas=(area(monkeypatch, blueprint),))


def test_an_id_has_one_rule() -> None:
    with pytest.raises(ValueError, match="has a visibility rule already"):
        visibility("key_id", lambda _session, _actor, _id: True)


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_two_schemas_of_one_name(make_app: Callable[..., Flask], monkeypatch: pytest.MonkeyPatch) -> None:
    one = type("SameNameOut", (StrictSchema,), {"__doc__": "One.", "a": Text()})
    other = type("SameNameOut", (StrictSchema,), {"__doc__": "Another.", "b": Text()})
    blueprint = Blueprint("twice", "Two schemas of one name.")

    def show_other() -> None:
        """Show the other."""

    blueprint.operation("GET", "/one", scopes=(), answer=one)(show_it)
    blueprint.operation("GET", "/other", scopes=(), answer=other)(show_other)
    app = make_app(areas=(area(monkeypatch, blueprint),))
    with pytest.raises(TypeError, match="two schemas are named SameNameOut"):
        app.extensions["shimstock"].document(app)


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_an_edit_that_checks_no_version(
    make_app: Callable[..., Flask], monkeypatch: pytest.MonkeyPatch, staff: Any
) -> None:
    blueprint = Blueprint("careless", "Edits without looking.")
    visibility("careless_id", always)

    def edit_it(careless_id: UUID) -> Answer:
        """Edit it."""
        return Answer(status=204)

    blueprint.operation("PUT", "/x/<uuid:careless_id>", scopes=(), status=204, writes=True, edits=True)(
        edit_it
    )
    app = make_app(areas=(area(monkeypatch, blueprint),))
    app.config["PROPAGATE_EXCEPTIONS"] = True
    headers = {"Authorization": f"Bearer {staff.tokens['manager']}", "If-Match": '"1.mm"'}
    answer = app.test_client().put(f"/v1/x/{staff.bench_id}", headers=headers)
    assert answer.status_code == 500


def always(*_: Any) -> bool:
    return True


def test_two_problems_of_one_code(monkeypatch: pytest.MonkeyPatch) -> None:
    class Mine(Conflict):
        """Mine."""

        code = "not-found"

    with pytest.raises(TypeError, match="share the code not-found"):
        check_codes()
    Mine.code = "mine-alone"
    check_codes()
