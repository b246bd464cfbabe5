"""The short way of writing readings and of saying what was done."""

from __future__ import annotations

from typing import Any

import pytest

from shimstock_client.cli._measures import Expected, NotUnderstood, read_measure
from shimstock_client.cli._typed import describe, read_reading
from shimstock_client.cli._typed_doing import describe_doing, read_doing

LENGTH = Expected("action", "length", "mm")


def quantity(value: float, unit: str = "mm") -> dict[str, Any]:
    """A quantity as it travels."""
    return {"value": value, "unit": unit}


@pytest.mark.parametrize(
    ("text", "value", "unit"),
    [
        ("0.45", 0.45, "mm"),
        ("0,45", 0.45, "mm"),
        (".45", 0.45, "mm"),
        ("2.2mm", 2.2, "mm"),
        ("2.2 mm", 2.2, "mm"),
        ("−0.10", -0.10, "mm"),
        ("+0.1", 0.1, "mm"),
        ("8/64in", 8, "in/64"),
        ("8/64", 8, "in/64"),
        ('8/64"', 8, "in/64"),
        ("8 / 64 in", 8, "in/64"),
        ("8 64ths", 8, "in/64"),
        ("5.5/64in", 5.5, "in/64"),
        ("5,5/64in", 5.5, "in/64"),
        ("3/32in", 6, "in/64"),
        ("1/16 inch", 4, "in/64"),
        ("1 3/64in", 67, "in/64"),
        ("5in/64", 5, "in/64"),
        ("10thou", 10, "thou"),
        (".010in", 0.010, "in"),
        ('0.087"', 0.087, "in"),
        ("8⁄64in", 8, "in/64"),
    ],
)
def test_a_length_is_read_as_typed(text: str, value: float, unit: str) -> None:
    found = read_measure(text, LENGTH)
    assert found.value == pytest.approx(value, abs=1e-12)
    assert found.unit == unit


def test_a_fraction_that_is_no_64th_stays_inches() -> None:
    assert read_measure("1/3in", LENGTH).unit == "in"
    assert read_measure("1/3in", LENGTH).value == pytest.approx(1 / 3)


@pytest.mark.parametrize(
    ("text", "right"),
    [
        ("wide", "'wide' is no number; right would be 2.2mm, 8/64in"),
        ("", "is no number"),
        ("1.2.3", "is no number"),
        ("nan", "is no number"),
        ("2.2kg", "the unit 'kg' is not known; use mm, in, thou, in/64"),
        ("3c", "action is a length: use mm, in, thou, in/64, not cents"),
        ("1/2", "write the unit, e.g. 1/2in"),
        ("1/0in", "nothing can be divided by 0"),
        ("8/64mm", "fractions are of an inch"),
    ],
)
def test_a_wrong_number_is_told_what_would_be_right(text: str, right: str) -> None:
    with pytest.raises(NotUnderstood) as caught:
        read_measure(text, LENGTH)
    assert right in str(caught.value)
    assert str(caught.value).startswith("action")


@pytest.mark.parametrize("text", ["0.010", ".5", "0,25"])
def test_with_inches_a_bare_small_number_is_asked_about(text: str) -> None:
    with pytest.raises(NotUnderstood, match="Write the unit"):
        read_reading(f"relief {text}", "inch")
    assert read_reading("relief 10", "inch")["value"] == quantity(10, "thou")
    assert read_reading("action bass 5", "inch")["value"] == quantity(5, "in/64")
    assert read_reading("action bass 5mm", "inch")["value"] == quantity(5, "mm")
    assert read_reading("intonation 3 0.5", "inch")["value"] == quantity(0.5, "cents")


@pytest.mark.parametrize(
    ("text", "reading"),
    [
        ("relief 0.45", {"quantity": "relief", "value": quantity(0.45)}),
        ("RELIEF Bass 0.45", {"quantity": "relief", "side": "bass", "value": quantity(0.45)}),
        ("relief zero", {"quantity": "relief", "zero_or_less": True}),
        ("relief 0.00", {"quantity": "relief", "zero_or_less": True}),
        ("relief zero or less", {"quantity": "relief", "zero_or_less": True}),
        ("relief touches treble", {"quantity": "relief", "side": "treble", "zero_or_less": True}),
        (
            "relief -0.10 straightedge sure",
            {"quantity": "relief", "method": "straightedge", "confirmed": True, "value": quantity(-0.1)},
        ),
        (
            "relief 0.16 held 1-14 at 7",
            {"quantity": "relief", "held": [1, 14], "fret": 7, "value": quantity(0.16)},
        ),
        ("action bass 8/64in", {"quantity": "action", "side": "bass", "value": quantity(8, "in/64")}),
        ("action b 2.2", {"quantity": "action", "side": "bass", "value": quantity(2.2)}),
        ("action 6 2.2", {"quantity": "action", "string": 6, "value": quantity(2.2)}),
        ("action string 6 2.2", {"quantity": "action", "string": 6, "value": quantity(2.2)}),
        ("action 6 1 3/64in", {"quantity": "action", "string": 6, "value": quantity(67, "in/64")}),
        ("action bass 1.0 capo 1", {"quantity": "action", "side": "bass", "capo": 1, "value": quantity(1)}),
        ("nut bass 0.5", {"quantity": "nut-action", "side": "bass", "value": quantity(0.5)}),
        ("nut action bass 0.5", {"quantity": "nut-action", "side": "bass", "value": quantity(0.5)}),
        ("nut-action 1 0.4", {"quantity": "nut-action", "string": 1, "value": quantity(0.4)}),
        ("nut 1 0.3 held 3", {"quantity": "nut-action", "string": 1, "held": [3], "value": quantity(0.3)}),
        ("intonation 3 +2.5", {"quantity": "intonation", "string": 3, "value": quantity(2.5, "cents")}),
        ("int 5 -6c", {"quantity": "intonation", "string": 5, "value": quantity(-6, "cents")}),
        ("pickup bass 2", {"quantity": "pickup-height", "side": "bass", "value": quantity(2)}),
        (
            "pickup neck bass 2.0",
            {"quantity": "pickup-height", "pickup": "neck", "side": "bass", "value": quantity(2)},
        ),
        ("break 2 0", {"quantity": "break-clearance", "string": 2, "value": quantity(0)}),
        ("twist 0.1", {"quantity": "twist", "value": quantity(0.1)}),
        ("saddle treble 2.6", {"quantity": "saddle-out", "side": "treble", "value": quantity(2.6)}),
        (
            "action bass 1.9 accept with steel rule # the owner likes it so",
            {
                "quantity": "action",
                "side": "bass",
                "accepted": True,
                "tool": "steel rule",
                "note": "the owner likes it so",
                "value": quantity(1.9),
            },
        ),
    ],
)
def test_a_reading_is_read_from_its_short_form(text: str, reading: dict[str, Any]) -> None:
    assert read_reading(text) == reading


@pytest.mark.parametrize(
    ("text", "right"),
    [
        ("", "a reading begins with its quantity, e.g. relief 0.45"),
        ("hight 2", "'hight' is no quantity; one of action, break-clearance, intonation"),
        ("relief", "relief: the value is missing; e.g. relief 0.45"),
        ("action 2.2", "on which side, bass or treble, or of which string?"),
        ("action bass 3 2.2", "is no number"),
        ("intonation +2", "intonation: of which string? e.g. intonation 3 +2.5"),
        ("intonation bass +2", "intonation: of which string?"),
        ("relief zero 0.1", "either a value or zero, not both"),
        ("action bass zero", "only relief can be 'zero or less'"),
        ("twist bass 0.1", "twist: bass side minus treble side"),
        ("action bass string 3 2.2", "a side or a string, not both"),
    ],
)
def test_a_wrong_reading_is_told_what_would_be_right(text: str, right: str) -> None:
    with pytest.raises(NotUnderstood) as caught:
        read_reading(text)
    assert right in str(caught.value)


def test_what_was_understood_is_said_back() -> None:
    assert describe(read_reading("intonation 3 2.5")) == "intonation, string 3: +2.5 cents"
    assert (
        describe(read_reading("relief bass 0.16 held 1-14 at 7 with dial sure"))
        == "relief, bass side, held 1–14, at fret 7: 0.16 mm (confirmed; with dial)"
    )
    assert describe(read_reading("relief zero")) == "relief: zero or less"
    assert (
        describe(read_reading("pickup neck bass 5/64in")) == "pickup height, neck pickup, bass side: 5/64 in"
    )


@pytest.mark.parametrize(
    ("text", "done", "said"),
    [
        (
            "rod tighten 1/4",
            {"part": "truss-rod", "turns": quantity(0.25, "turn")},
            "truss rod: tighten 1/4 turn",
        ),
        (
            "rod loosen 1/8 turn",
            {"part": "truss-rod", "turns": quantity(-0.125, "turn")},
            "truss rod: loosen 1/8 turn",
        ),
        (
            "post bass lower 1/8",
            {"part": "bridge-post", "side": "bass", "turns": quantity(-0.125, "turn")},
            "bridge post, bass side: lower 1/8 turn",
        ),
        (
            "screw 3 raise 1/4",
            {"part": "saddle-screw", "string": 3, "turns": quantity(0.25, "turn")},
            "saddle screw, string 3: raise 1/4 turn",
        ),
        (
            "saddle 3 away 4 1/8",
            {"part": "saddle-position", "string": 3, "turns": quantity(4.125, "turn")},
            "saddle position, string 3: away from the nut 4 1/8 turns",
        ),
        (
            "saddle 3 toward 2.2mm",
            {"part": "saddle-position", "string": 3, "amount": quantity(-2.2)},
            "saddle position, string 3: toward the nut 2.2 mm",
        ),
        (
            "saddle bass file 1.2mm",
            {"part": "saddle", "side": "bass", "amount": quantity(1.2)},
            "saddle, bass side: take off 1.2 mm",
        ),
        (
            "saddle bass shim 0.5mm",
            {"part": "saddle", "side": "bass", "amount": quantity(-0.5)},
            "saddle, bass side: shim by 0.5 mm",
        ),
        (
            "nut 2 file 0.05mm",
            {"part": "nut-slot", "string": 2, "amount": quantity(0.05)},
            "nut slot, string 2: take off 0.05 mm",
        ),
        (
            "claw tighten 1/2",
            {"part": "spring-claw", "turns": quantity(0.5, "turn")},
            "spring claw: tighten 1/2 turn",
        ),
        ("shim 0.5mm", {"part": "neck-shim", "amount": quantity(0.5)}, "neck shim: 0.5 mm"),
        (
            "pickup neck bass raise 1/2",
            {"part": "pickup-screw", "pickup": "neck", "side": "bass", "turns": quantity(0.5, "turn")},
            "pickup screw, neck pickup, bass side: raise 1/2 turn",
        ),
        ("strings", {"part": "strings"}, "strings"),
    ],
)
def test_what_was_done_is_read_with_its_direction(text: str, done: dict[str, Any], said: str) -> None:
    # signs as the contract says: positive = tighten, raise, away from the nut; filing = what was taken off
    assert read_doing(text.split()) == done
    assert describe_doing(done) == said


@pytest.mark.parametrize(
    ("text", "right"),
    [
        ("", "what was done? e.g. rod tighten 1/4"),
        ("bolt tighten 1/4", "'bolt' is no part; one of"),
        ("rod 1/4", "which way, tighten or loosen?"),
        ("rod raise 1/4", "tighten or loosen was expected, not raise"),
        ("rod tighten", "how far? e.g. rod tighten 1/4"),
        ("rod tighten -1/4", "no sign, tighten or loosen says which way"),
        ("rod tighten 2mm", "a number of turns: use turn, not mm"),
        ("nut 2 file 1/4 turn", "write the unit"),
        ("frets 3", "name no side and no string"),
        ("strings off", "nothing more is said of them"),
        ("rod bass tighten 1/4", "name no side and no string"),
    ],
)
def test_wrong_doing_is_told_what_would_be_right(text: str, right: str) -> None:
    with pytest.raises(NotUnderstood) as caught:
        read_doing(text.split())
    assert right in str(caught.value)
