"""Every address of the service, found in its URL map and not in a list: who may use it, what it refuses.

The walk is what the OWASP API Security Top 10 (2023) asks to be tested on every endpoint: API1 (objects of
others), API2 (authentication), API3 (unknown and read-only properties), API5 (functions of others), API9
(inventory).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from flask import Flask

from shimstock_server.app import create_app, open_database
from shimstock_server.clock import FixedClock
from shimstock_server.config import Config
from shimstock_server.database.session import Database
from shimstock_server.database.tables import Base
from shimstock_server.database.words import Scope
from shimstock_server.keys import make_key, revoke_key
from shimstock_server.operations.admin import current_document
from shimstock_server.web import visibility
from shimstock_server.web.documents import declared_statuses
from shimstock_server.web.operation import Operation
from shimstock_server.web.sharing import resolve
from tests.databases import SqliteDatabases
from tests.server.clients import Client, document_of, openapi_path, pointers
from tests.server.conftest import NOON, SECRET, Staff, make_staff
from tests.server.scopes import EXPECTED

UNKNOWN = "01890a5d-ac96-774b-bcce-b302099a8057"
METHODS = ("GET", "POST", "PUT", "PATCH", "DELETE")
SCOPES = ("bench", "booking", "manager")


@dataclass(frozen=True)
class Route:
    """A method of an address."""

    method: str
    rule: str
    operation: Operation

    @property
    def name(self) -> str:
        return f"{self.method} {openapi_path(self.rule)}"

    def address(self, identifier: str = UNKNOWN) -> str:
        parts = []
        for part in self.rule.split("<"):
            argument, closed, rest = part.partition(">")
            value = identifier if argument.startswith("uuid:") else "unknown"
            parts.append(value + rest if closed else part)
        return "".join(parts)


def routes_of(app: Flask) -> list[Route]:
    found = []
    for rule in app.url_map.iter_rules():
        view = app.view_functions[rule.endpoint]
        operation = getattr(view, "operation", None)
        assert operation is not None, f"{rule.rule} is not made with Blueprint.operation"
        found += [Route(method, rule.rule, operation) for method in sorted(rule.methods & set(METHODS))]
    return sorted(found, key=lambda route: route.name)


ROUTES = routes_of(
    create_app(Config(secret=SECRET, database_url="sqlite:////dev/null"), check_revision=False)
)
KEYED = [route for route in ROUTES if route.operation.keyed]
WITH_ID = [route for route in KEYED if "<uuid:" in route.rule]
WITH_BODY = [route for route in ROUTES if route.operation.body is not None]


def each(routes: list[Route]) -> Any:
    return pytest.mark.parametrize("route", routes, ids=[route.name for route in routes])


@pytest.fixture(scope="module")
def clock() -> FixedClock:
    """The one clock."""
    return FixedClock(NOON)


@pytest.fixture(scope="module")
def database(
    sqlite_databases: SqliteDatabases, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Database]:
    """One database for the whole walk, which asks it for keys and ids alone."""
    database = open_database(settings(sqlite_databases.migrated(tmp_path_factory.mktemp("walk"))))
    yield database
    database.dispose()


def settings(url: str) -> Config:
    return Config(secret=SECRET, database_url=url, rate_per_minute=0)


@pytest.fixture(scope="module")
def app(database: Database, clock: FixedClock) -> Flask:
    """One service for the whole walk."""
    app = create_app(settings(str(database.engine.url)), clock, database=database)
    app.debug = True
    return app


@pytest.fixture(scope="module")
def staff(database: Database, clock: FixedClock) -> Staff:
    """A bench, its technician, and a key of each scope."""
    return make_staff(database, clock)


@pytest.fixture(scope="module")
def dead_keys(database: Database, clock: FixedClock, staff: Staff) -> list[str | None]:
    """What opens nothing: no key, a bad one, half a key, one that has ended, and one that was revoked."""
    with database.write({"secret": SECRET, "now": clock.now()}) as session:
        _, expired = make_key(
            session,
            name="ended",
            scope=Scope.MANAGER,
            now=clock.now() - timedelta(days=2),
            expires_at=clock.now() - timedelta(days=1),
        )
        key, revoked = make_key(session, name="revoked", scope=Scope.MANAGER, now=clock.now())
        revoke_key(key, clock.now())
    return [None, "nonsense", staff.tokens["manager"][:-1], expired, revoked]


def with_key(app: Flask, staff: Staff, scope: str) -> Client:
    technician = staff.technician_id if scope == "bench" else None
    return Client(app, staff.tokens[scope], technician_id=technician)


def bare_requests(app: Flask, staff: Staff, route: Route) -> list[int]:
    """Send a request with nothing but a key and ids that nobody has, once for each scope."""
    return [
        with_key(app, staff, scope).open(route.method, route.address(), idempotency_key=None).status_code
        for scope in SCOPES
    ]


def test_the_table_names_every_route_and_no_other(app: Flask, staff: Staff) -> None:
    missing = [
        " ".join(map(str, [*bare_requests(app, staff, route), route.name]))
        for route in ROUTES
        if route.name not in EXPECTED
    ]
    assert not missing, "not in tests/server/scopes.py; is this what they should do?\n" + "\n".join(missing)
    assert not set(EXPECTED) - {route.name for route in ROUTES}, "in the table alone"


@pytest.mark.parametrize("route", [route for route in ROUTES if route.name in EXPECTED], ids=lambda r: r.name)
def test_what_each_scope_gets(app: Flask, staff: Staff, route: Route) -> None:
    """Compare what a bare request gets with the table."""
    assert bare_requests(app, staff, route) == EXPECTED[route.name]


@pytest.mark.parametrize("route", [route for route in ROUTES if route.name in EXPECTED], ids=lambda r: r.name)
def test_scopes_are_what_the_table_implies(route: Route) -> None:
    """A bare request gets 403 with every scope that the operation does not name, and with no other."""
    allowed = route.operation.scopes or SCOPES
    assert [status == 403 for status in EXPECTED[route.name]] == [scope not in allowed for scope in SCOPES]


@each(KEYED)
def test_without_a_valid_key_nothing_is_told(app: Flask, dead_keys: list[str | None], route: Route) -> None:
    for token in dead_keys:
        answer = Client(app, token).open(route.method, route.address(), idempotency_key=None)
        assert answer.status_code == 401, f"{route.name} with {token and token[:9]}"


def test_a_refused_key_is_told_why_as_far_as_it_is_ones_own(
    app: Flask, staff: Staff, dead_keys: list[str | None]
) -> None:
    right = staff.tokens["manager"]
    wrong = right[:-6] + ("aaaaaa" if right[-6:] != "aaaaaa" else "bbbbbb")
    unknown = "shim_0123456789abcdef_" + right.rsplit("_", 1)[-1].rjust(43, "x")[-43:]
    _, _, cut, expired, revoked = dead_keys
    told = {
        "Bearer " + str(expired): "has expired",
        "Bearer " + str(revoked): "was revoked",
        # Half a secret is as good as none: whether there is such a key is told to nobody.
        "Bearer " + wrong: "knows no such API key",
        "Bearer " + unknown: "knows no such API key",
        "Bearer " + str(revoked)[:-6] + "aaaaaa": "knows no such API key",
        "Bearer " + str(cut): "is no API key",
        "Bearer": "is no API key",
        "Basic YWRtaW46YWRtaW4=": "as a bearer token",
        right: "as a bearer token",
        "": "No API key was sent",
    }
    for header, detail in told.items():
        answer = Client(app, None).get("/v1/jobs", headers={"Authorization": header})
        assert answer.status_code == 401
        assert detail in answer.get_json()["detail"], header[:12]
        assert answer.headers["WWW-Authenticate"].startswith("Bearer")  # RFC 9110, section 15.5.2


@pytest.mark.parametrize(
    ("route", "scope"),
    [(route, scope) for route in WITH_ID for scope in route.operation.scopes or SCOPES],
    ids=lambda value: value.name if isinstance(value, Route) else value,
)
def test_an_unknown_id_is_not_found(app: Flask, staff: Staff, route: Route, scope: str) -> None:
    client = with_key(app, staff, scope)
    body = {"json": {}} if route.operation.body is not None else {}
    assert client.open(route.method, route.address(), **body).status_code == 404
    # An id of another kind of object is no better than none.
    other = str(staff.key_ids["manager"] if "key_id" not in route.rule else staff.bench_id)
    assert client.open(route.method, route.address(other), **body).status_code == 404


@pytest.fixture
def all_visible(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let every id through, so that the checks behind it are reached."""
    monkeypatch.setattr(visibility, "_rules", dict.fromkeys(visibility._rules, _always))


def _always(*_: object) -> bool:
    return True


@each(ROUTES)
@pytest.mark.usefixtures("all_visible")
def test_unknown_parameters_are_refused(app: Flask, staff: Staff, route: Route) -> None:
    scope = (route.operation.scopes or ("manager",))[-1]
    body: dict[str, Any] = {"json": {}} if route.operation.body is not None else {}
    if files := route.operation.text + route.operation.binary:
        body = {"data": "a file", "content_type": files[0]}
    answer = with_key(app, staff, scope).open(route.method, route.address() + "?nonsense=1", **body)
    assert answer.status_code == 422
    assert "/query/nonsense" in pointers(answer)


@each(WITH_BODY)
@pytest.mark.usefixtures("all_visible")
def test_unknown_and_read_only_fields_are_refused(app: Flask, staff: Staff, route: Route) -> None:
    scope = (route.operation.scopes or ("manager",))[-1]
    forged = {"nonsense": 1, "created_at": "2026-01-01T00:00:00Z", "received_at": None, "key_id": None}
    assert route.operation.body is not None
    unknown = set(forged) - set(route.operation.body.fields)
    answer = with_key(app, staff, scope).open(route.method, route.address(), json=forged)
    assert answer.status_code == 422
    assert {f"/{name}" for name in unknown} <= set(pointers(answer))


@each(WITH_BODY)
@pytest.mark.usefixtures("all_visible")
@pytest.mark.parametrize(
    "options",
    [
        {"data": b"{}", "content_type": "text/plain"},
        {"data": b"{", "content_type": "application/json"},
        {"data": b"\xff\xfe", "content_type": "application/json"},
        {"data": b"[" * 100_000, "content_type": "application/json"},
        {"json": []},
        {"json": None},
        {"json": "text"},
        {"json": {"id": "\x00", "name": ["list"], "items": {}, "value": "5"}},
    ],
    ids=lambda options: repr(options)[:40],
)
def test_no_body_brings_the_service_down(
    app: Flask, staff: Staff, route: Route, options: dict[str, Any]
) -> None:
    scope = (route.operation.scopes or ("manager",))[-1]
    answer = with_key(app, staff, scope).open(route.method, route.address(), **options)
    assert answer.status_code in (400, 413, 415, 422)


def test_the_url_map_is_the_document(app: Flask) -> None:
    document = app.extensions["shimstock"].document(app)
    documented = {
        f"{method.upper()} {path}"
        for path, methods in document["paths"].items()
        for method in methods
        if method.upper() in METHODS
    }
    assert documented == {route.name for route in routes_of(app)}
    assert all(
        set(methods) <= {"parameters", *map(str.lower, METHODS)} for methods in document["paths"].values()
    )


@each(ROUTES)
def test_the_document_says_who_may_and_what_can_go_wrong(app: Flask, route: Route) -> None:
    document = document_of(app)
    operation = document["paths"][openapi_path(route.rule)][route.method.lower()]
    assert bool(operation["security"]) == route.operation.keyed
    assert {int(status) for status in operation["responses"]} == declared_statuses(route.operation)
    for scope in route.operation.scopes or ():
        assert f"`{scope}`" in operation["description"]
    parameters = [resolve(document, each) for each in operation["parameters"]]
    headers = {each["name"] for each in parameters if each["in"] == "header"}
    assert ("If-Match" in headers) == ("428" in operation["responses"])
    if route.operation.body is not None and (example := route.operation.body.EXAMPLE) is not None:
        assert not route.operation.body.validate(example)
        assert operation["requestBody"]["content"]["application/json"]["example"] == example


PUBLISHED = Path(__file__).resolve().parents[2] / "openapi" / "shimstock.json"


def test_an_answer_may_be_as_long_as_what_was_sent(app: Flask) -> None:
    """A client that checks answers against the document must not stumble over what the service took."""
    schemas = document_of(app)["components"]["schemas"]
    taken = {
        (name.removesuffix(kind), field): told["maxLength"]
        for name, schema in schemas.items()
        for kind in ("In", "Change", "Patch")
        if name.endswith(kind)
        for field, told in schema.get("properties", {}).items()
        if "maxLength" in told
    }
    assert len(taken) > 50
    short = {
        f"{name}.{field}": told["maxLength"]
        for name, schema in schemas.items()
        for field, told in schema.get("properties", {}).items()
        if name.endswith("Out") and "maxLength" in told
        if told["maxLength"] < taken.get((name.removesuffix("Out"), field), 0)
    }
    assert not short


def test_the_published_document_is_that_of_this_release() -> None:
    assert PUBLISHED.read_text(encoding="utf-8") == current_document(), "run `shimstock-admin openapi`"


def test_refused_requests_change_nothing(database: Database, client: Client) -> None:
    before = _rows(database)
    for route in ROUTES:
        if route.operation.writes:
            Client(client.app, None).open(route.method, route.address(), json={})
            client.open(route.method, route.address(), json={"nonsense": 1})
    assert _rows(database) == before


def _rows(database: Database) -> dict[str, list[dict[str, Any]]]:
    with database.read() as session:
        return {
            table.name: [{**row._mapping, "last_used_at": None} for row in session.execute(table.select())]
            for table in Base.metadata.sorted_tables
        }
