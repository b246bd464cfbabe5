"""Bodies that go out, and records that come in."""

from __future__ import annotations

import math
from datetime import UTC, date, datetime, timedelta, timezone
from decimal import Decimal
from typing import Any
from uuid import UUID

import pytest

from shimstock_client import Job, NewReading, Quantity, ReadingSheet, Recommendation
from shimstock_client._wire import ABSENT, to_wire


@pytest.mark.parametrize(
    ("value", "travels"),
    [
        (None, None),
        (True, True),
        (1.5, 1.5),
        (Quantity(8, "in/64"), {"value": 8, "unit": "in/64"}),
        (UUID(int=1), "00000000-0000-0000-0000-000000000001"),
        (date(2026, 3, 1), "2026-03-01"),
        (
            datetime(2026, 3, 1, 12, 0, 0, 250_000, tzinfo=timezone(timedelta(hours=2))),
            "2026-03-01T10:00:00.250Z",
        ),
        ({"a": ABSENT, "b": None}, {"b": None}),
        ([Quantity(1, "mm")], [{"value": 1, "unit": "mm"}]),
        (
            NewReading(quantity="relief", value=Quantity(0.45, "mm"), held=(1, 22)),
            {"quantity": "relief", "value": {"value": 0.45, "unit": "mm"}, "held": [1, 22]},
        ),
    ],
)
def test_a_value_travels_as_json(value: Any, travels: Any) -> None:
    assert to_wire(value) == travels


def test_a_time_without_a_zone_is_refused_by_name() -> None:
    with pytest.raises(ValueError, match="taken_at: a time needs its zone"):
        to_wire({"taken_at": datetime(2026, 3, 1)})  # noqa: DTZ001 - that is the point


def test_what_cannot_travel_is_refused_by_name() -> None:
    with pytest.raises(TypeError, match=r"readings\[0\]: Decimal cannot be sent"):
        to_wire({"readings": [Decimal(1)]})


def test_an_answer_is_not_sent_back_by_mistake() -> None:
    with pytest.raises(TypeError, match="job: an answer of the service cannot be sent back"):
        to_wire({"job": Job(id="1")})


@pytest.mark.parametrize("value", [math.nan, math.inf, "0.45", True, None])
def test_a_quantity_is_a_finite_number(value: Any) -> None:
    with pytest.raises(ValueError, match="value: a"):
        Quantity(value, "mm")


@pytest.mark.parametrize(
    ("quantity", "shown"),
    [
        (Quantity(0.45, "mm"), "0.45 mm"),
        (Quantity(8.0, "in/64"), "8/64 in"),
        (Quantity(45, "percent"), "45 %"),
        (Quantity(21.5, "degC"), "21.5 °C"),
        (Quantity(10, "thou"), "10 thou"),
        (Quantity(1234567, "Hz"), "1234567 Hz"),
    ],
)
def test_a_quantity_is_shown_as_people_write_it(quantity: Quantity, shown: str) -> None:
    assert str(quantity) == shown


def test_a_record_reads_nested_values_and_keeps_what_it_does_not_know() -> None:
    job = Job.from_wire(
        {
            "id": "j",
            "number": 7,
            "state": "a-state-of-tomorrow",
            "promised_on": "2026-03-01",
            "claim": {"id": "c", "since": "2026-03-01T10:00:00Z", "colour": "new"},
            "room": {"temperature": {"value": 21, "unit": "degC"}},
            "allowed_moves": [{"to": "queued", "needs": []}],
            "field_of_tomorrow": {"x": 1},
        },
        etag='"1.mm"',
    )
    assert (job.number, job.state, job.promised_on, job.etag) == (
        7,
        "a-state-of-tomorrow",
        date(2026, 3, 1),
        '"1.mm"',
    )
    assert job.claim is not None
    assert job.claim.since == datetime(2026, 3, 1, 10, tzinfo=UTC)
    assert job.room is not None
    assert job.room.temperature == Quantity(21, "degC")
    assert [move.to for move in job.allowed_moves] == ["queued"]
    assert job.raw["field_of_tomorrow"] == {"x": 1}


def test_a_record_bears_missing_and_empty_fields() -> None:
    sheet = ReadingSheet.from_wire(
        {"readings": [{"quantity": "relief", "value": None, "zero_or_less": True}]}
    )
    assert sheet.readings[0].value is None
    assert sheet.readings[0].held == []
    assert Recommendation.from_wire({}).do_now is None


def test_the_step_to_do_now_is_the_marked_one() -> None:
    plan = Recommendation.from_wire(
        {"steps": [{"number": 1}, {"number": 2, "do_now": True, "moves": [{"part": "truss-rod"}]}]}
    )
    assert plan.do_now is not None
    assert plan.do_now.number == 2
