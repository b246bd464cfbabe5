"""Readings from files, and the sheets that are kept until they are sent."""

from __future__ import annotations

import stat
from pathlib import Path
from typing import Any

import pytest

from shimstock_client import ReadingWanted, Recommendation, Step, Verdict
from shimstock_client.cli._files import BadFile, read_file
from shimstock_client.cli._lines import read_air, read_finding, take_line
from shimstock_client.cli._measures import NotUnderstood
from shimstock_client.cli._reading import everything, readings_to_ask
from shimstock_client.cli._unsent import UnsentSheet, all_unsent, find_unsent

RELIEF = {"quantity": "relief", "value": {"value": 0.45, "unit": "mm"}}
ACTION = {"quantity": "action", "side": "bass", "value": {"value": 8.0, "unit": "in/64"}}


@pytest.mark.parametrize(
    "text",
    [
        "relief 0.45\n\n# a remark\naction bass 8/64in\n",
        "quantity,side,value,unit\nrelief,,0.45,mm\naction,bass,8/64,in\n",
        "quantity;side;value\nrelief;;0,45\naction;bass;8/64in\n",
        "quantity\tside\tvalue\tunit\nrelief\t\t0.45\t\naction\tbass\t8\tin/64\n",
        "\ufeffQuantity,Side,Value\r\nrelief,,0.45\r\naction,bass,8/64in\r\n",
        '[{"quantity": "relief", "value": 0.45}, {"quantity": "action", "side": "bass", "value": "8/64in"}]',
        '[{"quantity": "relief", "value": 0.45, "unit": "mm"}, "action bass 8/64in"]',
        '{"readings": [{"quantity": "relief", "value": {"value": 0.45, "unit": "mm"}},'
        ' {"quantity": "action", "side": "bass", "value": {"value": 8.0, "unit": "in/64"}}]}',
    ],
)
def test_every_kind_of_file_gives_the_same_readings(text: str) -> None:
    assert read_file(text).readings == [RELIEF, ACTION]


def test_every_column_has_its_meaning() -> None:
    text = (
        "quantity,string,pickup,side,value,fret,held,capo,method,tool,zero_or_less,confirmed,accepted,note\n"
        'relief,,,bass,,9,1-22,,string,feeler leaves,yes,no,x,"so, as it is"\n'
    )
    assert read_file(text).readings == [
        {
            "quantity": "relief", "side": "bass", "fret": 9, "held": [1, 22], "method": "string",
            "tool": "feeler leaves", "zero_or_less": True, "confirmed": False, "accepted": True,
            "note": "so, as it is",
        }
    ]  # fmt: skip


def test_a_sheet_in_json_brings_its_other_fields() -> None:
    content = read_file('{"stage": "final", "at_pitch": true, "note": "n", "readings": []}')
    assert content.more == {"stage": "final", "at_pitch": True, "note": "n"}


@pytest.mark.parametrize(
    ("text", "problems"),
    [
        ("", ["the file is empty"]),
        (
            "relief 0.45\naction 2.2\nhight 3\n",
            ["line 2: action: on which side", "line 3: 'hight' is no quantity"],
        ),
        ("quantity,colour\nrelief,red\n", ["line 1: unknown column colour; known are"]),
        ("quantity,value\nrelief,0.45,mm\n", ["line 2: more cells than the first line has columns"]),
        (
            "quantity,value\nrelief,wide\naction,2\n",
            ["line 2: relief: 'wide'", "line 3: action: on which side"],
        ),
        ("quantity,value,fret\nrelief,0.4,nine\n", ["line 2: fret: a whole number was expected, not 'nine'"]),
        ("quantity,value,confirmed\nrelief,0.4,maybe\n", ["line 2: confirmed: yes or no was expected"]),
        ("quantity,value\nrelief,\n", ["line 2: value: the value of relief is missing"]),
        ('{"readings": ', ["the file is no JSON"]),
        ('[{"quantity": "relief", "value": NaN}]', ["NaN is no number"]),
        ('{"colour": 1}', ["unknown field colour; a sheet has"]),
        ('{"readings": 1}', ["/readings: a list was expected"]),
        ('[{"quantity": "relief", "value": 1, "hight": 2}]', ["/readings/0: unknown field hight"]),
        ('[{"value": 1}]', ["/readings/0: quantity: which one?"]),
        ('[{"quantity": "relief", "value": {"value": 1}}]', ["/readings/0: value:"]),
        ("[7]", ["/readings/0: an object was expected"]),
    ],
)
def test_a_wrong_file_names_every_wrong_place(text: str, problems: list[str]) -> None:
    with pytest.raises(BadFile) as caught:
        read_file(text)
    assert len(caught.value.problems) == len(problems)
    for found, expected in zip(caught.value.problems, problems, strict=True):
        assert expected in found


def test_a_sheet_is_kept_after_every_line_and_reads_back_as_it_was(own_files: Path) -> None:
    sheet = UnsentSheet("job-1", 7)
    take_line(sheet, "relief 0.45", "mm")
    sheet.touch()
    (kept,) = all_unsent()
    assert kept == sheet
    assert kept.body()["id"] == sheet.id
    assert stat.S_IMODE(kept.path.stat().st_mode) == 0o600
    assert find_unsent(sheet.id[-6:]) == sheet
    assert list(own_files.rglob(".*")) == [], "no temporary file is left"
    sheet.remove()
    assert list(all_unsent()) == []


def test_a_damaged_kept_sheet_is_named(own_files: Path) -> None:
    folder = own_files / "unsent"
    folder.mkdir(parents=True)
    (folder / "x.json").write_text("{")
    with pytest.raises(ValueError, match=r"x\.json is damaged"):
        list(all_unsent())


@pytest.mark.parametrize(
    ("line", "changed"),
    [
        ("with feeler", {"tools": ["feeler"]}),
        ("air 21C 45%", {"more": {"room": read_air("21C 45%")}}),
        ("on back", {"more": {"position": "on-back"}}),
        ("off pitch", {"at_pitch": False}),
        ("cold", {"more": {"acclimatised": False}}),
        ("note worn nut", {"more": {"note": "worn nut"}}),
        ("found crack # at the heel", {"findings": [{"code": "crack", "note": "at the heel"}]}),
    ],
)
def test_a_line_can_be_about_the_sheet(line: str, changed: dict[str, Any]) -> None:
    sheet = UnsentSheet("job-1")
    assert take_line(sheet, line, "mm")
    for name, value in changed.items():
        assert getattr(sheet, name) == value


def test_readings_are_taken_back() -> None:
    sheet = UnsentSheet("job-1")
    for line in ("relief 0.45", "action bass 2.2", "action treble 1.9"):
        take_line(sheet, line, "mm")
    assert take_line(sheet, "drop 2", "mm") == "taken back: action, bass side: 2.2 mm"
    assert take_line(sheet, "undo", "mm") == "taken back: action, treble side: 1.9 mm"
    assert [reading["quantity"] for reading in sheet.readings] == ["relief"]
    with pytest.raises(NotUnderstood, match="drop: which reading, 1 to 1"):
        take_line(sheet, "drop 4", "mm")


@pytest.mark.parametrize(
    ("text", "air"),
    [
        ("21C 45%", (21, "degC", 45)),
        ("21 45", (21, "degC", 45)),
        ("70F 40% rh", (70, "degF", 40)),
        ("21,5 °C, 45,5 %", (21.5, "degC", 45.5)),
    ],
)
def test_the_rooms_air_is_read(text: str, air: tuple[float, str, float]) -> None:
    temperature, unit, humidity = air
    assert read_air(text) == {
        "temperature": {"value": temperature, "unit": unit},
        "relative_humidity": {"value": humidity, "unit": "percent"},
    }


def test_findings_are_read_by_their_beginning() -> None:
    assert read_finding("fret-high fret 7 # lifts") == {"code": "fret-high", "fret": 7, "note": "lifts"}
    assert read_finding("fret high fret 7") == {"code": "fret-high", "fret": 7}
    assert read_finding("string-damaged string 3") == {"code": "string-damaged", "string": 3}
    assert read_finding("bridge") == {"code": "bridge-lifting"}
    with pytest.raises(NotUnderstood, match="found: 'fret' is not one of frets-worn"):
        read_finding("fret")


def test_what_is_asked_for_depends_on_where_the_plan_stands() -> None:
    def step(kind: str, *quantities: str, changes: bool = False) -> Step:
        asked = [ReadingWanted(quantity=quantity) for quantity in quantities]
        return Step(kind=kind, changes_instrument=changes, readings_next=asked)

    def asked(*steps: Step, final: bool = False) -> list[str]:
        plan = Recommendation(steps=list(steps))
        return [one.quantity for one in readings_to_ask(plan, final=final)]

    final = step("final-readings", "relief", "action", "intonation")
    first = [step("measure", "relief", "action"), step("measure", "intonation"), final]
    assert asked(*first) == ["relief", "action", "intonation"]
    assert asked(step("relief", "relief", changes=True), step("measure", "intonation"), final) == []
    assert asked(step("settle", "relief"), step("measure", "twist"), final) == ["relief"]
    assert asked(step("read-again", "relief"), step("settle", "relief"), final) == ["relief"]
    assert asked(*first, final=True) == ["relief", "action", "intonation"]
    assert asked() == []
    told = Recommendation(verdicts=[Verdict(quantity="relief"), Verdict(quantity="action")])
    assert readings_to_ask(told, final=True) == []
    assert [one.quantity for one in everything(told)] == ["relief", "action"]
