"""Bodies and queries, read strictly: what JSON allows and the service does not."""

from __future__ import annotations

import io
import json
from typing import Any

import pytest

from shimstock_server.web.parsing import parse_json
from shimstock_server.web.problems import BadJson, InvalidFields
from tests.server.clients import Client, code, pointers


@pytest.mark.parametrize(
    ("text", "tree"),
    [
        (b'{"a": [1, -0.5, 1e3, true, null, "\\u00e9"]}', {"a": [1, -0.5, 1000.0, True, None, "é"]}),
        (b"9223372036854775807", 2**63 - 1),
        (b"-9223372036854775808", -(2**63)),
        ("[" * 32 + "]" * 32, None),
    ],
)
def test_what_is_taken(text: bytes | str, tree: Any) -> None:
    parsed = parse_json(text.encode() if isinstance(text, str) else text, max_depth=32)
    assert tree is None or parsed == tree


@pytest.mark.parametrize(
    ("text", "errors"),
    [
        (b'{"a": NaN}', {"/a": "must be a finite number, not NaN"}),
        (b'[1, -Infinity, {"b": Infinity}]', {"/1": None, "/2/b": None}),
        (b'{"a": 1e999}', {"/a": "must be a finite number"}),
        (b'{"a": 9223372036854775808}', {"/a": "must be a whole number of at most 64 bits"}),
        (b'{"a": ' + b"9" * 100_000 + b"}", {"/a": "must be a whole number of at most 64 bits"}),
        (b'{"a": 1, "a": 2}', {"/a": "is given twice"}),
        (b'{"a": "x\\u0000y"}', {"/a": "must not hold NUL"}),
        (b'{"a": "\\ud800"}', {"/a": "must not hold half of a surrogate pair"}),
        (b'{"\\u0000": 1}', {"": "has a field whose name must not hold NUL"}),
        (b"[" * 33 + b"]" * 33, {"/0" * 32: "must be nested at most 32 deep"}),
        (b"[" * 500_000 + b"]" * 500_000, {"": "must be nested at most 32 deep"}),
        (b'{"a":' * 200_000 + b"1" + b"}" * 200_000, {"": "must be nested at most 32 deep"}),
    ],
    ids=lambda value: repr(value)[:40],
)
def test_what_is_refused(text: bytes, errors: dict[str, str | None]) -> None:
    with pytest.raises(InvalidFields) as refused:
        parse_json(text, max_depth=32)
    found = {error["pointer"]: error["message"] for error in refused.value.errors or []}
    assert set(found) == set(errors)
    for pointer, message in errors.items():
        assert message is None or found[pointer] == message


@pytest.mark.parametrize(
    "text",
    [
        b"",
        b"{",
        b"{'a': 1}",
        b'{"a": 01}',
        b'{"a": +1}',
        b"[1,]",
        b"\xff",
        b'\xef\xbb\xbf{"a":1}',
        b'{"a":\x01}',
        b'"\x00"',
    ],
)
def test_what_is_not_json(text: bytes) -> None:
    with pytest.raises(BadJson):
        parse_json(text)


@pytest.mark.parametrize(
    ("options", "status", "which"),
    [
        ({"data": b'{"name": "x"}', "content_type": "text/plain"}, 415, "unsupported-media-type"),
        (
            {"data": b'{"name": "x"}', "content_type": "application/json; charset=latin-1"},
            415,
            "unsupported-media-type",
        ),
        (
            {"data": b"x", "content_type": "application/json", "headers": {"Content-Encoding": "gzip"}},
            415,
            "unsupported-media-type",
        ),
        ({}, 415, "unsupported-media-type"),
        ({"data": b"x" * (1024 * 1024 + 1), "content_type": "application/json"}, 413, "too-large"),
        ({"data": b'{"name": ', "content_type": "application/json"}, 400, "bad-json"),
        ({"data": b'{"name": NaN}', "content_type": "application/json"}, 422, "invalid-fields"),
        ({"json": []}, 422, "invalid-fields"),
        ({"json": {"name": "x", "nonsense": 1}}, 422, "invalid-fields"),
        (
            {"json": {"name": "x", "parts": [{"relief": {"value": 1, "unit": "cents"}}]}},
            422,
            "invalid-fields",
        ),
    ],
    ids=lambda value: repr(value)[:60],
)
def test_a_bad_body_has_its_own_status(
    client: Client, options: dict[str, Any], status: int, which: str
) -> None:
    answer = client.post("/v1/probes", **options)
    assert (answer.status_code, code(answer)) == (status, which)
    assert [each["name"] for each in client.get("/v1/probes").get_json()["items"]] == ["First bench"]


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_an_answer_does_not_list_without_end(client: Client) -> None:
    """A body of a megabyte with nothing but faults, and a long pointer to each."""
    faults = b'{"' + b"a" * 480 + b'": [' + b",".join([b"NaN"] * 250_000) + b"]}"
    unknown = json.dumps({f"n{n}": 1 for n in range(60_000)}).encode()
    for body in (faults, unknown):
        answer = client.post("/v1/probes", data=body, content_type="application/json")
        assert (answer.status_code, len(answer.get_json()["errors"])) == (422, 1000)
        assert answer.get_json()["detail"].endswith("There are more than the 1000 that are listed.")
        assert len(answer.data) < len(body)


def test_body_and_query_are_checked_together(client: Client) -> None:
    answer = client.post("/v1/probes?nonsense=1&units=cm", json={"name": "", "more": 1})
    assert sorted(pointers(answer)) == ["/more", "/name", "/query/nonsense", "/query/units"]


def test_a_deep_field_is_pointed_to(client: Client) -> None:
    answer = client.post(
        "/v1/probes",
        json={
            "name": "x",
            "parts": [{}, {"relief": {"value": 9, "unit": "mm"}}, {"relief": {"unit": "turn"}}],
        },
    )
    assert sorted(pointers(answer)) == [
        "/parts/1/relief/value",
        "/parts/2/relief/unit",
        "/parts/2/relief/value",
    ]


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_a_body_in_chunks_may_be_as_long_as_any(client: Client) -> None:
    limit = 1024 * 1024
    for length, status in ((limit, 422), (limit + 1, 413), (2 * limit, 413)):
        body = b'{"nonsense": 1' + b" " * (length - 15) + b"}"
        answer = client.app.test_client().post(
            "/v1/probes",
            input_stream=io.BytesIO(body),
            content_type="application/json",
            headers={"Authorization": f"Bearer {client.token}", "Idempotency-Key": "chunks"},
            environ_overrides={"wsgi.input_terminated": True},
        )
        assert answer.status_code == status, (length, answer.get_json())


@pytest.mark.parametrize(
    ("query", "bad"),
    [
        ("nonsense=1", ["/query/nonsense"]),
        ("limit=0", ["/query/limit"]),
        ("limit=501", ["/query/limit"]),
        ("limit=five", ["/query/limit"]),
        ("limit=1&limit=2", ["/query/limit"]),
        ("active=yes", ["/query/active"]),
        ("units=cm", ["/query/units"]),
        ("units=mm&units=inch", ["/query/units"]),
        ("names=a%00b", ["/query/names/0"]),
        ("names=%ff", ["/query"]),
        ("names=%ED%A0%80", ["/query"]),
        ("names=a&names=%20", ["/query/names/1"]),
        ("limit=0&active=yes&x=1", ["/query/active", "/query/limit", "/query/x"]),
    ],
)
def test_a_bad_query_is_pointed_to(client: Client, query: str, bad: list[str]) -> None:
    answer = client.get(f"/v1/probes?{query}")
    assert answer.status_code == 422
    assert sorted(pointers(answer)) == bad


def test_an_operation_without_a_body_takes_none(client: Client) -> None:
    assert client.post("/v1/probes/claims", json={}).status_code == 204
    assert client.post("/v1/probes/claims", json={"more": 1}).status_code == 422
    assert client.post("/v1/probes/claims", data=b"x", content_type="text/plain").status_code == 415
