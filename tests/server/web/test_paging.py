"""Lists: each row once, whatever happens meanwhile, and no cursor but one's own."""

from __future__ import annotations

import pytest

from tests.server.clients import Client, code


@pytest.fixture
def names(client: Client) -> list[str]:
    """Twelve probes and the bench of the staff, by name."""
    made = [f"probe {n:02}" for n in range(12)]
    for name in reversed(made):
        client.post("/v1/probes", json={"name": name, "active": name != "probe 03"})
    return ["First bench", *made]


def read_all(client: Client, query: str) -> list[list[str]]:
    pages, path = [], f"/v1/probes?{query}"
    while True:
        answer = client.get(path)
        page = answer.get_json()
        pages.append([each["name"] for each in page["items"]])
        if page["next"] is None:
            assert "Link" not in answer.headers
            return pages
        # RFC 8288: the target stands in angle brackets; it is the same page that `next` leads to.
        target, _, relation = answer.headers["Link"].partition(">; ")
        assert relation == 'rel="next"'
        path = target.removeprefix("<")
        assert page["next"] in path


def test_a_list_is_read_to_its_end(client: Client, names: list[str]) -> None:
    assert read_all(client, "") == [names]
    assert read_all(client, "limit=5") == [names[:5], names[5:10], names[10:]]
    assert read_all(client, "limit=13") == [names]
    assert read_all(client, "limit=5&active=false") == [["probe 03"]]
    assert read_all(client, "limit=1&names=probe%2001&names=probe%2007") == [["probe 01"], ["probe 07"]]


def test_every_row_appears_once_while_rows_come_and_go(client: Client, names: list[str]) -> None:
    first = client.get("/v1/probes?limit=4").get_json()
    client.post("/v1/probes", json={"name": "A new one before"})
    client.post("/v1/probes", json={"name": "probe 05b"})
    gone = client.get("/v1/probes?names=probe%2008").get_json()["items"][0]
    client.delete(f"/v1/probes/{gone['id']}", etag='"1.mm"')
    rest = client.get(f"/v1/probes?cursor={first['next']}").get_json()["items"]
    read = [each["name"] for each in first["items"] + rest]
    assert read == sorted({*names, "probe 05b"} - {"probe 08"})


def test_a_cursor_is_good_for_its_list_alone(client: Client, bench_client: Client, names: list[str]) -> None:
    cursor = client.get("/v1/probes?limit=2").get_json()["next"]
    assert client.get(f"/v1/probes?limit=7&cursor={cursor}").status_code == 200, "the size may change"
    for refused in (
        client.get(f"/v1/probes?active=true&cursor={cursor}"),
        client.get(f"/v1/probes?names=x&cursor={cursor}"),
        client.get(f"/v1/keys?cursor={cursor}"),
        bench_client.get(f"/v1/probes?cursor={cursor}"),
        client.get(f"/v1/probes?cursor={cursor[:-2]}"),
        client.get(f"/v1/probes?cursor={cursor}A"),
        client.get(f"/v1/probes?cursor={'B' if cursor[0] != 'B' else 'C'}{cursor[1:]}"),
        client.get("/v1/probes?cursor=AAAA"),
        client.get("/v1/probes?cursor=ä"),
    ):
        assert (refused.status_code, code(refused)) == (400, "invalid-cursor")
