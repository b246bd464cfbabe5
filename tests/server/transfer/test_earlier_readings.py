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


ODD = (
    ("S-1,yesterday,final,relief,bass,,0.2,mm,,9,1,22,", "taken_at", "with its offset"),
    ("S-1,9999-12-31T23:59:59Z,final,relief,bass,,0.2,mm,,9,1,22,", "taken_at", "1900 to 2999"),
    ("S-1,2024-05-06T10:00:00Z,final,relief,bass,,1_0,mm,,9,1,22,", "value", "decimal point"),
    ("S-1,2024-05-06T10:00:00Z,final,relief,bass,,nan,mm,,9,1,22,", "value", "decimal point"),
    ('S-1,2024-05-06T10:00:00Z,final,relief,bass,,0.2,mm,,9,1,22,"' + "x" * 140_000, None, "quotation mark"),
)


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_lines_that_no_spreadsheet_writes_are_told(client: Client, shop: Workshop) -> None:
    for row, column, part in ODD:
        (problem,) = send(client, HEADER + row + "\n")["problems"]
        assert (problem["row"], problem["column"]) == (2, column)
        assert part in problem["message"]
    (problem,) = send(client, "a," * 5000)["problems"]
    assert "5001 columns" in problem["message"]
    (problem,) = send(client, "x" * 140_000)["problems"]
    assert "cannot be read as CSV" in problem["message"]
    told = send(client, HEADER + "S-9,2024-05-06T10:00:00Z,final,relief\n" * 1500)["problems"]
    assert (len(told), told[-1]["message"]) == (1001, "and 500 problems more")
    many = (f"S-1,2024-05-{1 + n // 24:02}T{n % 24:02}:00:00Z,final,relief\n" for n in range(501))
    (problem,) = send(client, "serial,taken_at,stage,quantity\n" + "".join(many))["problems"]
    assert (problem["row"], "cut the file here" in problem["message"]) == (502, True)


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_one_moment_written_in_two_ways_is_one_sheet(client: Client, shop: Workshop) -> None:
    row = "S-1,{},final,{},bass,,{},mm,,{},,,\n"
    east, utc = "2024-05-06T12:00:00+02:00", "2024-05-06T10:00:00Z"
    text = HEADER + "\n" + row.format(east, "action", "1.7", 12) + row.format(utc, "action", "17", 12)
    (problem,) = send(client, text)["problems"]
    assert problem["row"] == 4  # the empty line is one, too
    text = HEADER + row.format(east, "action", "1.7", 12)
    assert send(client, text, dry_run=False)["kept"]
    (problem,) = send(client, HEADER + row.format(utc, "action", "1.7", 12), dry_run=False)["problems"]
    assert problem["message"] == "these readings were imported before"


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_one_sheet_has_one_pitch(client: Client, shop: Workshop) -> None:
    row = "S-1;2024-05-06T10:00:00Z;final;action;bass;12;{};{}\n"
    text = "serial;taken_at;stage;quantity;side;fret;value;at_pitch\n" + row.format("1,7", "yes")
    assert send(client, text)["problems"] == []
    (problem,) = send(client, text + row.format("1,8", "no"))["problems"]
    assert problem["row"] == 3
    assert "row 2 tells of the same instrument, time and stage" in problem["message"]


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_one_look_finds_all_that_is_wrong_with_a_row(client: Client, shop: Workshop) -> None:
    assert shop.ids
    header = "instrument_id,taken_at,stage,quantity,side,fret,value,unit\n"
    told = send(client, header + "S-1,2024-05-06T10:00:00Z,finale,action,middle,12,1.7,mm\n")["problems"]
    assert [(each["row"], each["column"]) for each in told] == [
        (2, "instrument_id"), (2, "side"), (2, "stage"),
    ]  # fmt: skip
    assert "leave it empty and fill in serial" in told[0]["message"]
