"""The client against the real service: in this process, and over a line that loses answers."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from shimstock_client import (
    Changed,
    ClaimEnded,
    Client,
    Conflict,
    InvalidFields,
    NewFinding,
    NewReading,
    NotAllowed,
    NotFound,
    NotSignedIn,
    PartMove,
    Quantity,
    Step,
    WSGITransport,
    as_planned,
    uuid7,
)
from tests.client.conftest import URL, Shop
from tests.client.live import losing, served
from tests.server.workshop import intonation


def mm(value: float) -> Quantity:
    """A length in mm."""
    return Quantity(value, "mm")


def case_one(shop: Shop) -> list[NewReading]:
    """Relief 0.45, action 2.2 / 1.9, nut action 0.50 / 0.40."""
    feelers, depth = shop.things.ids["feelers"], shop.things.ids["depth"]
    return [
        NewReading(quantity="relief", value=mm(0.45), tool_id=feelers),
        NewReading(quantity="action", side="bass", value=mm(2.2), tool_id=depth),
        NewReading(quantity="action", side="treble", value=mm(1.9), tool_id=depth),
        NewReading(quantity="nut-action", side="bass", value=mm(0.50), tool_id=depth),
        NewReading(quantity="nut-action", side="treble", value=mm(0.40), tool_id=depth),
    ]


def test_one_job_from_the_counter_to_the_card(shop: Shop) -> None:
    counter, bench = shop.client("manager"), shop.client(units="mm")
    job = counter.jobs.create(
        instrument_id=shop.things.ids["instrument"],
        owner_id=shop.things.ids["owner"],
        complaints="high up the neck",
        consents=[{"covers": "general", "given": True, "given_by": "Robin Example", "how": "in-person"}],
    )
    counter.jobs.move(job, "queued")
    job_taken = bench.jobs.claim_next()
    assert job_taken is not None
    assert (job_taken.id, job_taken.state) == (job.id, "on-bench")
    assert job_taken.claim is not None
    assert job_taken.claim.technician == "First technician"
    assert bench.jobs.claim_next() is None

    sheet = bench.reading_sheets.post(
        job,
        case_one(shop),
        stage="as-received",
        at_pitch=True,
        findings=[NewFinding(code="fret-ends-sharp", note="treble side")],
        room={"temperature": Quantity(70, "degF"), "relative_humidity": Quantity(45, "percent")},
    )
    assert not sheet.outside_claim
    assert sheet.room is not None
    assert sheet.room.temperature is not None
    assert sheet.room.temperature.unit == "degC"
    plan = bench.recommendations.of_job(job)
    step = plan.do_now
    assert step is not None
    (move,) = step.moves
    assert (move.part, move.direction, move.turns, move.total_turns) == (
        "truss-rod", "tighten", Quantity(0.25, "turn"), Quantity(0.625, "turn"),
    )  # fmt: skip
    (done,) = bench.adjustments.follow(job_taken, plan, step, minutes=6)
    assert (done.plan, done.plan_kept, done.turns) == (plan.digest, True, Quantity(0.25, "turn"))

    resting = bench.jobs.move(
        bench.jobs.get(job), "settling", available_at=datetime.now(UTC) + timedelta(minutes=60)
    )
    assert resting.claim is None
    assert [one.due for one in bench.settling.list()] == [False]
    shop.clock.advance(timedelta(minutes=61))
    assert [one.number for one in bench.settling.list(due=True)] == [job.number]
    again = bench.jobs.claim_next()
    assert again is not None
    final = bench.jobs.move(again, "final-check")
    bench.reading_sheets.post(job, [*case_one(shop), *intonation()], stage="final", at_pitch=True)
    ready = bench.jobs.move(bench.jobs.get(final), "ready")
    card = bench.cards.get(ready)
    (relief,) = [one for one in card.quantities if one.quantity == "relief"]
    assert relief.before is not None
    assert relief.before.value == mm(0.45)
    assert card.picture is not None
    assert "<svg" in card.picture
    assert "<html" in bench.cards.page(ready)
    assert [move.to_state for move in counter.jobs.moves(job)] == [
        "received", "queued", "on-bench", "settling", "on-bench", "final-check", "ready",
    ]  # fmt: skip


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_what_stands_against_a_change_has_its_own_error(shop: Shop) -> None:
    shop.things.queued_job()
    bench = shop.client()
    job = bench.jobs.claim_next()
    assert job is not None
    with pytest.raises(InvalidFields) as wrong:
        bench.reading_sheets.post(
            job,
            [
                NewReading(quantity="relief", value=Quantity(3, "cents")),
                NewReading(quantity="intonation", string=7, value=Quantity(1, "cents")),
            ],
            stage="final",
            at_pitch=True,
        )
    pointers = {error.pointer for error in wrong.value.errors}
    assert {"/readings/0/value/unit", "/readings/1/string"} <= pointers
    assert wrong.value.request_id
    assert list(bench.reading_sheets.list(job)) == []
    with pytest.raises(Conflict) as refused:
        bench.jobs.move(job, "ready")
    assert "settling" in [move["to"] for move in refused.value.extra["allowed_moves"]]
    stale = bench.jobs.get(job)
    bench.jobs.update(stale, priority=7)
    with pytest.raises(Changed):
        bench.jobs.update(stale, priority=8)
    row = next(bench.jobs.list(number=job.number))
    assert bench.jobs.update(row, priority=8).priority == 8
    bench.jobs.give_back(bench.jobs.get(job))
    with pytest.raises(ClaimEnded):
        bench.adjustments.record(job, "truss-rod", turns=Quantity(0.125, "turn"))
    with pytest.raises(NotFound):
        bench.jobs.get(uuid7())
    with pytest.raises(NotAllowed):
        bench.technicians.create(name="Kim")
    with pytest.raises(NotSignedIn):
        Client("http://shop.test", "shim_nobody_nothing", transport=WSGITransport(shop.app)).jobs.get(job)


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_answers_come_in_the_units_asked_for(shop: Shop) -> None:
    shop.things.queued_job()
    bench = shop.client(units="inch")
    job = bench.jobs.claim_next()
    assert job is not None
    sheet = bench.reading_sheets.post(
        job,
        [NewReading(quantity="action", side="bass", value=Quantity(8, "in/64"))],
        stage="final",
        at_pitch=True,
    )
    (reading,) = sheet.readings
    assert (reading.value, reading.typed) == (Quantity(8.0, "in/64"), Quantity(8.0, "in/64"))
    (metric,) = shop.client(units="mm").reading_sheets.readings(job)
    assert metric.value == mm(3.175)  # 1 in = 25.4 mm exactly (international yard and pound agreement, 1959)


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_a_list_is_walked_over_many_pages(shop: Shop) -> None:
    manager = shop.client("manager")
    made = {manager.owners.create(name=f"Owner {number}").id for number in range(7)}
    found = [owner.id for owner in manager.owners.list(name="Owner", limit=2)]
    assert len(found) == 7
    assert set(found) == made


def test_a_refusal_says_what_is_wrong_with_key_and_version(shop: Shop) -> None:
    manager = shop.client("manager")
    owner = manager.owners.create(name="Robin")
    for tag, told in (('"9.mm"', "never read with"), ("1.mm", "with its quotes"), ('W/"1.mm"', "weak")):
        owner.etag = tag
        with pytest.raises(Changed, match=told):
            manager.owners.update(owner, phone="0555 0137")
    with (
        Client(URL, shop.staff.tokens["manager"][:-1], transport=WSGITransport(shop.app)) as cut,
        pytest.raises(NotSignedIn, match="cut off"),
    ):
        next(iter(cut.owners.list()), None)


def test_every_answer_lost_once_and_nothing_happens_twice(shop: Shop) -> None:
    for _ in range(2):
        shop.things.queued_job()
    with (
        served(shop.app) as target,
        losing(target) as (url, seen),
        Client(url, shop.staff.tokens["bench"], shop.staff.technician_id) as bench,
    ):
        job = bench.jobs.claim_next()
        assert job is not None
        bench.reading_sheets.post(job, case_one(shop), stage="as-received", at_pitch=True)
        bench.adjustments.record(job, "truss-rod", turns=Quantity(0.25, "turn"))
        bench.jobs.move(bench.jobs.get(job), "final-check")
    keys = [key for _, key, _ in seen if key]
    assert len(keys) == 8, "each change went out twice"
    assert len(set(keys)) == 4
    direct = shop.client()
    assert [one.number for one in direct.jobs.list(state="final-check")] == [job.number]
    assert len(list(direct.jobs.list(state="queued"))) == 1, "the claim took one job, not two"
    assert len(list(direct.reading_sheets.list(job))) == 1
    assert len(list(direct.adjustments.list(job))) == 1


@pytest.mark.parametrize(
    ("move", "body"),
    [
        (
            PartMove(part="nut-slot", direction="file", amount=mm(0.05), side="bass", string=6),
            {"part": "nut-slot", "amount": mm(0.05), "string": 6},
        ),
        (
            PartMove(part="saddle", direction="shim", amount=mm(0.5), side="bass"),
            {"part": "saddle", "amount": mm(-0.5), "side": "bass"},
        ),
        (
            PartMove(part="pickup-screw", direction="raise", amount=mm(0.5), side="bass", pickup="neck"),
            {"part": "pickup-screw", "amount": mm(0.5), "side": "bass", "pickup": "neck"},
        ),
        (
            PartMove(
                part="bridge-post",
                direction="lower",
                turns=Quantity(-0.125, "turn"),
                amount=mm(-0.16),
                side="bass",
            ),
            {"part": "bridge-post", "turns": Quantity(-0.125, "turn"), "side": "bass"},
        ),
    ],
)
def test_a_planned_move_is_told_as_the_contract_counts(move: PartMove, body: dict[str, Any]) -> None:
    assert as_planned(Step(moves=[move], changes_instrument=True)) == [body]


def test_what_a_plan_leaves_alone_is_not_told() -> None:
    left = PartMove(part="bridge-post", direction="leave", turns=Quantity(0.0, "turn"), side="treble")
    assert as_planned(Step(moves=[left], changes_instrument=False)) == []


def test_new_strings_name_what_the_player_wants() -> None:
    step = Step(kind="restring", part="strings", changes_instrument=True)
    wants = {"restring": True, "string_set_id": "s1", "tuning_id": None}
    assert as_planned(step, wants) == [{"part": "strings", "string_set_id": "s1"}]
    assert as_planned(Step(kind="balance", part="spring-claw", changes_instrument=True)) == []
