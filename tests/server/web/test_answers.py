"""Around every request: ids, headers, problems, logs without secrets."""

from __future__ import annotations

import json
import logging
import uuid
from pathlib import Path
from urllib.parse import unquote

import pytest

from shimstock_server.operations.logs import set_up
from shimstock_server.web.problems import Problem, every_problem
from shimstock_server.web.tokens import make_token, redact, redact_path, split_token
from tests.server.clients import Client, code, pointers
from tests.server.conftest import Staff


def test_a_problem_tells_everything_a_client_needs(client: Client) -> None:
    problem = client.get("/v1/probes?limit=0", headers={"Request-Id": "bench-1.2026"}).get_json()
    # RFC 9457, section 3.1: type, title, status, detail, instance; the rest are members of ours.
    assert problem == {
        "type": "/docs/problems#invalid-fields",
        "code": "invalid-fields",
        "title": "Invalid fields",
        "status": 422,
        "detail": problem["detail"],
        "errors": [{"pointer": "/query/limit", "message": "must be from 1 to 500"}],
        "instance": "/v1/probes",
        "request_id": "bench-1.2026",
    }


@pytest.mark.parametrize("given", [None, "short", "with space in it", "x" * 65, "ünicode-id"])
def test_a_bad_request_id_is_replaced(client: Client, given: str | None) -> None:
    header = given.encode().decode("latin-1") if given else None
    answer = client.get("/livez", headers={"Request-Id": header})
    assert uuid.UUID(answer.headers["Request-Id"]).version == 7


def test_every_problem_is_explained_under_its_type(client: Client) -> None:
    page = client.get("/docs/problems").get_data(as_text=True)
    for problem in every_problem():
        assert f'id="{problem.code}"' in page
        assert problem("x").body()["type"] == f"/docs/problems#{problem.code}"
        assert 400 <= problem.status <= 599
        assert problem.meaning().endswith((".", "…"))
        assert problem.title != Problem.title, f"{problem.__name__} has no title of its own"


def test_what_cannot_be_calculated_names_the_field(client: Client) -> None:
    answer = client.get("/v1/probes/length?relief=101")
    assert (answer.status_code, code(answer)) == (422, "cannot-calculate")
    assert answer.get_json()["reason"] == "out-of-range"
    assert answer.get_json()["errors"] == [{"pointer": "/relief", "message": "relief must be at most 100 mm"}]


def test_keyed_answers_stay_with_their_reader(client: Client) -> None:
    headers = client.get("/v1/probes").headers
    assert headers["Cache-Control"] == "no-store"
    assert headers["Vary"] == "Authorization, Accept"
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert headers["Referrer-Policy"] == "no-referrer"
    assert headers["Content-Security-Policy"].startswith("default-src 'none'")
    assert "Access-Control-Allow-Origin" not in headers


def test_pages_need_nothing_from_elsewhere(client: Client) -> None:
    for path in ("/docs", "/docs/problems"):
        page = client.get(path)
        text = page.get_data(as_text=True)
        assert page.mimetype == "text/html"
        assert "<script" not in text
        assert "src=" not in text
        assert not [part for part in text.split('href="')[1:] if part.startswith(("http", "//"))]
        assert "default-src 'none'; style-src 'sha256-" in page.headers["Content-Security-Policy"]
        assert client.get(path, headers={"If-None-Match": page.headers["ETag"]}).status_code == 304


def test_the_page_shows_every_operation_and_schema(client: Client) -> None:
    page = client.get("/docs").get_data(as_text=True)
    document = client.get("/openapi.json").get_json()
    for methods in document["paths"].values():
        for operation in methods.values():
            if isinstance(operation, dict):
                assert f'id="{operation["operationId"]}"' in page
    for event in document["webhooks"].values():
        assert f'id="{event["post"]["operationId"]}"' in page
    for name, schema in document["components"]["schemas"].items():
        assert (f'id="schema-{name}"' in page) == (schema.get("type") == "object")


def test_units_follow_the_key_and_the_query(client: Client) -> None:
    made = client.post("/v1/keys", json={"name": "Inches", "scope": "manager", "units": "inch"})
    inches = Client(client.app, made.get_json()["secret"])
    assert inches.get("/v1/probes/length?relief=1").get_json()["relief"]["unit"] == "thou"
    assert inches.get("/v1/probes/length?relief=1&units=mm").get_json()["relief"]["unit"] == "mm"


def test_a_bad_stored_answer_is_an_error_of_the_service(client: Client) -> None:
    answer = client.post("/v1/probes/accidents", json={"name": "one"})
    assert (answer.status_code, code(answer)) == (500, "unexpected")
    assert "Traceback" not in answer.get_data(as_text=True)
    assert pointers(client.post("/v1/probes/accidents", json={"name": 1})) == ["/name"]


def test_logs_are_json_and_hold_no_secret(
    client: Client, staff: Staff, capfd: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    before = logging.getLogger().handlers[:], logging.getLogger().level
    try:
        set_up("INFO")
        client.get("/v1/probes?limit=1", headers={"Request-Id": "find-me-again"})
        client.get(f"/v1/nothing/{staff.tokens['manager']}")
        logging.getLogger("shimstock.access").warning("a slip: %s", staff.tokens["bench"])
        client.get("/cards/verysecrettoken")
    finally:
        logging.getLogger().handlers[:], level = before
        logging.getLogger().setLevel(level)
    lines = [json.loads(line) for line in capfd.readouterr().err.splitlines()]
    first = next(line for line in lines if line.get("request_id") == "find-me-again")
    assert first["route"] == "/v1/probes"
    assert (first["status"], first["key"]) == (200, str(staff.key_ids["manager"]))
    told = json.dumps(lines)
    for token in staff.tokens.values():
        assert token.split("_", 2)[2] not in told
    assert "verysecrettoken" not in told


SPELLINGS = (
    "/cards/Zx81Zx81",
    "//cards/Zx81Zx81",
    "/cards//Zx81Zx81",
    "/%63ards/Zx81Zx81",
    "/cards%2fZx81Zx81",
    "/CARDS/Zx81Zx81",
    "/x/../cards/Zx81Zx81",
    "/%2563ards%252FZx81Zx81",
    "/v1/calendars/Zx81Zx81.ics",
    "/cards/x/Zx81Zx81",
    "/cards/%20Zx81Zx81",
)


def test_tokens() -> None:
    token, lookup, _ = make_token()
    parts = split_token(token)
    assert parts is not None
    assert parts[0] == lookup
    assert redact(f"Bearer {token}!") == f"Bearer shim_{lookup}_…!"
    assert redact("GET /calendars/abc.ics HTTP/1.1") == "GET /calendars/… HTTP/1.1"
    for path in SPELLINGS:
        assert "Zx81Zx81" not in redact(f"GET {path} HTTP/1.1"), path
        assert "Zx81Zx81" not in redact_path(path), path
        assert "Zx81Zx81" not in redact_path(unquote(path)), path
    assert len({make_token()[0] for _ in range(100)}) == 100


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
@pytest.mark.parametrize("path", ["/metrics", "/metrics/"])
def test_figures_are_for_this_machine_alone(stranger: Client, path: str) -> None:
    """A proxy on this machine that the settings do not name asks for anybody."""
    assert stranger.get(path).status_code == 200
    assert stranger.get(path, headers={"X-Forwarded-For": "203.0.113.9"}).status_code == 403
    elsewhere = {"REMOTE_ADDR": "203.0.113.9"}
    assert stranger.app.test_client().get(path, environ_overrides=elsewhere).status_code == 403


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_invented_methods_leave_no_figures(stranger: Client) -> None:
    """A figure is kept for as long as the process lives, and without a key anybody can invent methods."""
    browser = stranger.app.test_client()
    for n in range(50):
        assert browser.open("/v1/jobs", method=f"INVENTED{n}").status_code == 405
    figures = browser.get("/metrics").get_data(as_text=True)
    assert "INVENTED" not in figures
    assert 'method="other"' in figures
