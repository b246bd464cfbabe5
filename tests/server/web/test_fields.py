"""Strict fields: what is taken, what is refused, and with which words."""

from __future__ import annotations

from datetime import UTC, date, datetime
from enum import StrEnum
from typing import Any
from uuid import UUID

import pytest
from marshmallow import ValidationError

from shimstock_server.web.fields import (
    MOST_MARKS,
    Choice,
    Day,
    Id,
    Instant,
    ListOf,
    MapOf,
    Nested,
    Number,
    StrictSchema,
    Text,
    Truth,
    Whole,
    clean_text,
)
from shimstock_server.web.schemas import field_errors


class Side(StrEnum):
    BASS = "bass"
    TREBLE = "treble"


class SlotSchema(StrictSchema):
    string = Whole(1, 12, required=True)


class SheetSchema(StrictSchema):
    slots = ListOf(Nested(SlotSchema), max=3)
    note = Text(max=5, multiline=True)


UUID_TEXT = "01890a5d-ac96-774b-bcce-b302099a8057"


@pytest.mark.parametrize(
    ("field", "given", "loaded"),
    [
        (Text(), "  Ståhl ", "Ståhl"),
        # Unicode Standard Annex 15: e + combining acute composes to U+00E9.
        (Text(), "Ame\u0301lie", "Am\u00e9lie"),
        (Text(min=0), "", ""),
        (Text(multiline=True), "one\r\ntwo\tthree", "one\ntwo\tthree"),
        (Text(), "𝄞 clef", "𝄞 clef"),
        (Whole(), -(2**31), -(2**31)),
        (Whole(), 2**31 - 1, 2**31 - 1),
        (Number(), 5, 5.0),
        (Number(), -0.25, -0.25),
        (Truth(), False, False),
        (Id(), UUID_TEXT.upper(), UUID(UUID_TEXT)),
        (Instant(), "2026-03-29T02:30:00+02:00", datetime(2026, 3, 29, 0, 30, tzinfo=UTC)),
        (Instant(), "2026-03-29t00:30:00.5z", datetime(2026, 3, 29, 0, 30, 0, 500000, tzinfo=UTC)),
        (Day(), "2028-02-29", date(2028, 2, 29)),
        (Choice(Side), "bass", Side.BASS),
        (Choice(("mm", "inch")), "inch", "inch"),
        (ListOf(Whole()), [1, 2], [1, 2]),
        (MapOf(Whole()), {"a": 1}, {"a": 1}),
    ],
)
def test_what_is_taken(field: Any, given: Any, loaded: Any) -> None:
    assert field.deserialize(given) == loaded


@pytest.mark.parametrize(
    ("field", "given", "message"),
    [
        (Text(), 5, "must be text"),
        (Text(), "   ", "must not be empty"),
        (Text(max=3), "four", "must have at most 3 characters; 4 were given"),
        (Text(), "a\x00b", "must not hold the control character U+0000"),
        (Text(), "a\nb", "must not hold the control character U+000A"),
        (Text(), "\ud800", "must not hold half of a surrogate pair"),
        (Text(), "abc\u202egpj", "must not hold the direction mark U+202E"),
        (Text(), "\u200b\u200e\ufeff", "must not be empty"),  # nobody could see such a name
        (Text(), "x\ufffe", "must not hold U+FFFE, which is no character"),
        (Text(pattern="[A-Z]{3}", pattern_hint="must be three capitals"), "eur", "must be three capitals"),
        (Whole(), 5.0, "must be a whole number"),
        (Whole(), "5", "must be a whole number"),
        (Whole(), True, "must be a whole number"),
        (Whole(1, 12), 13, "must be from 1 to 12"),
        (Whole(min=1), 0, "must be at least 1"),
        (Number(), "1.7", "must be a number"),
        (Number(), True, "must be a number"),
        (Number(), float("nan"), "must be a finite number"),
        (Number(max=2.5), 2.6, "must be at most 2.5"),
        (Truth(), "true", "must be true or false"),
        (Truth(), 1, "must be true or false"),
        (Id(), UUID_TEXT.replace("-", ""), f"must be a UUID such as {UUID_TEXT}"),
        (
            Instant(),
            "2026-03-29T02:30:00",
            "must be a moment with its offset, such as 2026-03-14T09:30:00+01:00",
        ),
        (Instant(), "2026-13-29T02:30:00Z", "is not a moment that the calendar knows"),
        (Instant(), "0001-01-01T00:00:00+14:00", "is not a moment that the calendar knows"),
        (Instant(), "1899-12-31T23:59:59Z", "must lie in the years 1900 to 2999"),
        (Instant(), "9999-12-31T23:59:59Z", "must lie in the years 1900 to 2999"),
        (Day(), "0001-01-01", "must lie in the years 1900 to 2999"),
        (Day(), "3000-01-01", "must lie in the years 1900 to 2999"),
        (Day(), "2026-02-29", "is not a day that the calendar knows"),
        (Day(), "29.02.2028", "must be a day such as 2026-03-14"),
        (Choice(Side), "left", "must be one of bass, treble"),
        (Choice(Side), ["bass"], "must be one of bass, treble"),
        (ListOf(Whole(), max=2), [1, 2, 3], "must have at most 2 entries; 3 were given"),
        (ListOf(Whole()), {"0": 1}, "must be a list"),
        (ListOf(Whole(), min=1), [], "must have at least 1 entry"),
        (Nested(SlotSchema), [], "must be an object"),
        (MapOf(Whole()), [1], "must be an object"),
    ],
)
def test_what_is_refused(field: Any, given: Any, message: str) -> None:
    with pytest.raises(ValidationError) as refused:
        field.deserialize(given)
    assert refused.value.messages == [message]


def test_lists_are_bounded_by_default() -> None:
    assert len(ListOf(Whole()).deserialize([0] * 500)) == 500
    with pytest.raises(ValidationError, match="at most 500"):
        ListOf(Whole()).deserialize([0] * 501)


def test_a_list_without_repetitions_points_to_the_second() -> None:
    with pytest.raises(ValidationError) as refused:
        ListOf(Whole(), unique=True).deserialize([4, 5, 4])
    assert refused.value.messages == {2: ["is there twice"]}


def test_every_bad_field_is_pointed_to_at_once() -> None:
    with pytest.raises(ValidationError) as refused:
        SheetSchema().load(
            {"slots": [{"string": 1}, {"string": 0, "gauge": 9}, {}], "note": "too long", "x/y": 1}
        )
    assert sorted((error["pointer"], error["message"]) for error in field_errors(refused.value.messages)) == [
        ("/note", "must have at most 5 characters; 8 were given"),
        ("/slots/1/gauge", "is not a field here"),
        ("/slots/1/string", "must be from 1 to 12"),
        ("/slots/2/string", "is required"),
        # RFC 6901, section 3: "/" in a name is written ~1.
        ("/x~1y", "is not a field here"),
    ]


def test_a_naive_instant_never_leaves() -> None:
    with pytest.raises(ValueError, match="without an offset"):
        Instant()._serialize(datetime(2026, 3, 2, 12), "at", None)  # noqa: DTZ001


def test_instants_leave_in_utc() -> None:
    assert Instant()._serialize(datetime.fromisoformat("2026-03-02T12:00:00+05:30"), "at", None) == (
        "2026-03-02T06:30:00Z"
    )


def test_a_run_of_marks_is_stream_safe() -> None:
    # Unicode Standard Annex 15, section 13: at most 30 non-starters in a row
    assert clean_text("a" + "\u0323" * MOST_MARKS, max=200)
    with pytest.raises(ValidationError, match="more than 30 combining marks in a row"):
        clean_text("a" + "\u0323" * (MOST_MARKS + 1), max=200)
    # class 0: a spacing vowel sign ends no run of letters, and any number of them is taken
    assert clean_text("\u0915\u093e" * 60, max=200)


def test_a_text_is_counted_as_it_is_kept() -> None:
    # Unicode Character Database, UnicodeData.txt: U+1F82 has four characters in NFD, the most of all
    apart = "\u03b1\u0313\u0300\u0345"
    assert Text(max=40).deserialize(apart * 40) == "\u1f82" * 40
    assert Text(max=4).deserialize(" " * 1000 + "neck" + " " * 1000) == "neck"
    with pytest.raises(ValidationError, match="at most 40 characters"):
        Text(max=40).deserialize(apart * 41)
