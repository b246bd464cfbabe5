"""Readings from before this service: a dry run that names every problem by row, then all or nothing."""

from __future__ import annotations

from typing import Any

import pytest

from tests.server.clients import Client, pointers
from tests.server.workshop import Workshop, set_up

HEADER = "serial,taken_at,stage,quantity,side,string,value,unit,tool,fret,held_low,held_high,note\n"
GOOD = (
    HEADER
    + "S-1,2024-05-06T10:00:00+02:00,as-received,relief,bass,,0.45,mm,Feeler leaves,9,1,22,\n"
    + "S-1,2024-05-06T10:00:00+02:00,as-received,action,bass,,5.5,in/64,Depth gauge,12,,,'=high\n"
    + "S-1,2024-05-06T12:00:00+02:00,final,relief,bass,,0.20,mm,Feeler leaves,9,1,22,\n"
    + "S-1,2024-11-20T09:00:00+01:00,recheck,intonation,,3,-2.5,cents,,,,,\n"
)


@pytest.fixture
def shop(client: Client) -> Workshop:
    """A shop with an instrument that has a serial."""
    workshop = set_up(client)
    path = f"/v1/instruments/{workshop.ids['instrument']}"
    etag = client.get(path).headers["ETag"]
    assert client.patch(path, json={"serial": "S-1"}, etag=etag).status_code == 200
    return workshop


def send(client: Client, text: str, **more: Any) -> dict[str, Any]:
    answer = client.post("/v1/imports/readings", json={"csv": text, **more})
    assert answer.status_code == 200, answer.get_data(as_text=True)
    told: dict[str, Any] = answer.get_json()
    return told


def report(client: Client, shop: Workshop) -> list[tuple[str, str, int]]:
    path = f"/v1/reports/instrument-models/{shop.ids['model']}?first=2024-01-01&last=2024-12-31"
    quantities = client.get(path).get_json()["quantities"]
    return [
        (each["quantity"], stage["stage"], stage["count"]) for each in quantities for stage in each["stages"]
    ]


def test_a_dry_run_keeps_nothing_and_the_import_does(client: Client, shop: Workshop) -> None:
    told = send(client, GOOD)
    assert told == {"rows": 4, "sheets": 3, "readings": 4, "kept": False, "problems": []}
    assert client.get("/v1/jobs").get_json()["items"] == []
    told = send(client, GOOD, dry_run=False)
    assert told == {"rows": 4, "sheets": 3, "readings": 4, "kept": True, "problems": []}
    jobs = client.get("/v1/jobs").get_json()["items"]
    assert [job["state"] for job in jobs] == ["cancelled", "cancelled"]  # one a day, closed at once
    sheets = client.get(f"/v1/jobs/{jobs[0]['id']}/reading-sheets").get_json()["items"]
    assert [sheet["stage"] for sheet in sheets] == ["as-received", "final"]
    relief, action = sheets[0]["readings"]
    assert relief["value"] == {"value": 0.45, "unit": "mm"}
    assert relief["held"] == [1, 22]
    assert action["typed"] == {"value": 5.5, "unit": "in/64"}
    assert action["note"] == "=high"
    assert sheets[0]["taken_at"] == "2024-05-06T08:00:00Z"
    assert report(client, shop) == [
        ("relief", "as-received", 1), ("relief", "final", 1), ("action", "as-received", 1),
        ("intonation", "recheck", 1),
    ]  # fmt: skip
    again = send(client, GOOD, dry_run=False)
    assert again["kept"] is False
    assert [(each["row"], each["message"]) for each in again["problems"]] == [
        (2, "these readings were imported before"),
        (4, "these readings were imported before"),
        (5, "these readings were imported before"),
    ]


def test_every_problem_is_told_by_row_and_nothing_is_kept(client: Client, shop: Workshop) -> None:
    rows = [
        "S-1,2024-05-06T10:00:00+02:00,as-received,relief,bass,,0.45,mm,Feeler leaves,9,1,22,",
        "S-2,2024-05-06T10:00:00+02:00,as-received,relief,bass,,0.45,mm,,9,1,22,",
        "S-1,2024-05-06T10:00:00,as-received,relief,bass,,0.45,mm,,9,1,22,",
        "S-1,2024-05-06T11:00:00+02:00,sometime,relief,bass,,0.45,mm,,9,1,22,",
        "S-1,2024-05-06T12:00:00+02:00,final,relief,bass,,0.45,cents,,9,1,22,",
        "S-1,2024-05-06T13:00:00+02:00,final,action,bass,,17,mm,,12,,,",
        "S-1,2024-05-06T14:00:00+02:00,final,intonation,,9,0.5,cents,,,,,",
        "S-1,2024-05-06T15:00:00+02:00,final,relief,bass,,a lot,mm,,9,1,22,",
        "S-1,2024-05-06T16:00:00+02:00,final,relief,bass,,0.2,mm,Ruler,9,1,22,",
        "S-1,2024-05-06T17:00:00+02:00,final,action,bass",
        "S-1,2024-05-06T18:00:00+02:00,final,action,bass,two,1.7,mm,,12,,,",
        ",2024-05-06T18:00:00+02:00,final,action,bass,,1.7,mm,,12,,,",
    ]
    told = send(client, HEADER + "\n".join(rows) + "\n", dry_run=False)
    assert (told["rows"], told["kept"]) == (12, False)
    found = {each["row"]: (each["column"], each["message"]) for each in told["problems"]}
    wanted = {
        3: ("serial", "no instrument has this serial"),
        4: ("taken_at", "offset"),
        5: ("stage", "as-received"),
        6: ("unit", "relief is a length"),
        7: ("value", "is plausible"),
        8: ("string", "6 strings"),
        9: ("value", "must be a number"),
        10: ("tool", "no tool of this shop has this name"),
        11: (None, "fewer cells"),
        12: ("string", "whole number"),
        13: ("serial", "name the instrument"),
    }
    assert found.keys() == wanted.keys()
    for row, (column, part) in wanted.items():
        assert found[row][0] == column, found[row]
        assert part in found[row][1], found[row]
    assert client.get("/v1/jobs").get_json()["items"] == []
    assert report(client, shop) == []


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_a_bad_header_is_told_once(client: Client, shop: Workshop) -> None:
    told = send(client, "serial,colour,quantity\nS-1,red,relief\n")
    assert [(each["row"], each["column"]) for each in told["problems"]] == [
        (1, "colour"), (1, "stage"), (1, "taken_at"),
    ]  # fmt: skip
    assert pointers(client.post("/v1/imports/readings", json={"csv": ""})) == ["/csv"]
