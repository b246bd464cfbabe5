"""The counter at the command line: an instrument comes in by its serial number."""

from __future__ import annotations

import json

import pytest

from tests.client.conftest import Command, Shop

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)


@pytest.fixture
def heron(shop: Shop) -> Shop:
    """The shop with an instrument that has a serial number."""
    ids = shop.things.ids
    shop.things.add(
        "heron",
        "/v1/instruments",
        {"model_id": ids["model"], "owner_id": ids["owner"], "serial": "H-17"},
    )
    return shop


def test_an_instrument_comes_in_and_its_job_is_the_next(heron: Shop, command: Command) -> None:
    came = command(
        "receive", "H-17", "--complaint", "buzzes", "--consent", "Robin Example", "--air", "21C 45%",
        "--new-strings", "--priority", "7", "--promised", "2099-03-02", "--json",
    )  # fmt: skip
    assert came.code == 0, came.err
    job = json.loads(came.out)
    assert (job["state"], job["complaints"], job["priority"]) == ("queued", "buzzes", 7)
    assert job["wants"]["restring"] is True
    assert job["room"]["relative_humidity"] == {"value": 45.0, "unit": "percent"}
    consents = list(heron.client().consents.list(job["id"]))
    assert [(one.covers, one.given, one.given_by) for one in consents] == [("general", True, "Robin Example")]
    taken = command("take", "--json")
    assert json.loads(taken.out)["id"] == job["id"]


def test_it_can_stay_received(heron: Shop, command: Command) -> None:
    came = command("receive", "H-17", "--no-queue")
    assert came.code == 0
    assert "Job 1 is received." in came.out
    assert command("take").code == 3


def test_an_unknown_serial_number_is_said(heron: Shop, command: Command) -> None:
    ran = command("receive", "H-18")
    assert ran.code == 3
    assert "no instrument has the serial number 'H-18'" in ran.err


def test_a_day_that_is_none_is_told_by_its_field(heron: Shop, command: Command) -> None:
    ran = command("receive", "H-17", "--promised", "soon")
    assert ran.code == 1
    assert "promised on: must be a day" in ran.err
    assert "JSON" not in ran.err
