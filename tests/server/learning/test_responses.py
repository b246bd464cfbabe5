"""How far relief follows the rod: learned from what benches read, used by the next plan."""

from __future__ import annotations

import random
from typing import Any

import pytest
from sqlalchemy import func, select

from shimstock_calc.response import ROD_PRIOR, AdjustmentSample, adjustment_response
from shimstock_server.database.session import Database
from shimstock_server.database.tables.learning import LearningMark
from shimstock_server.learning import recount
from tests.server.workshop import case_one_readings, mm, sheet

from .conftest import Shop


def learned(shop: Shop, **query: str) -> list[dict[str, Any]]:
    asked = "&".join(f"{name}={value}" for name, value in query.items())
    items: list[dict[str, Any]] = shop.manager.get(f"/v1/adjustment-responses?{asked}").get_json()["items"]
    return items


def samples(shop: Shop, query: str = "") -> list[dict[str, Any]]:
    items: list[dict[str, Any]] = shop.manager.get(f"/v1/adjustment-responses/samples{query}").get_json()[
        "items"
    ]
    return items


def plan_for(shop: Shop, instrument: str) -> dict[str, Any]:
    job = shop.job(instrument)
    readings = case_one_readings(shop.workshop)
    shop.bench.post(f"/v1/jobs/{job['id']}/reading-sheets", json=sheet(readings, taken_at=shop.now))
    plan: dict[str, Any] = shop.bench.get(f"/v1/jobs/{job['id']}/recommendation").get_json()
    shop.give_back(job)
    return plan


def test_what_was_learned_is_what_the_calculation_says_and_the_next_plan_takes_it(shop: Shop) -> None:
    """Checked against `adjustment_response` on the samples by hand, with the tools' uncertainties."""
    turns = [(0.25, 0.45, 0.30), (0.25, 0.50, 0.36), (0.125, 0.40, 0.33), (-0.25, 0.10, 0.24)]
    instruments = [shop.workshop.ids["instrument"], shop.instrument()]
    for number, (moved, before, after) in enumerate(turns):
        shop.run(instruments[number % 2], moved, before, after)
    other = shop.instrument(shop.model("Wren"))
    shop.run(other, 0.25, 0.40, 0.31)
    assert shop.count() == 5
    # the conversion from 1-22 read at 9 to where relief is largest is 0.993 both times, from its own test
    factor = 1 / 0.993
    by_hand = adjustment_response(
        [
            AdjustmentSample(m, b * factor, a * factor, 0.03 * factor, 0.03 * factor, n % 2, "model")
            for n, (m, b, a) in enumerate(turns)
        ]
        + [AdjustmentSample(0.25, 0.40 * factor, 0.31 * factor, 0.03 * factor, 0.03 * factor, 9, "other")]
    )
    model_id = shop.workshop.ids["model"]
    (of_model,) = learned(shop, kind="rod", level="model", model_id=model_id)
    expected = by_hand.of(None, "model")
    assert of_model["mean"]["value"] == pytest.approx(expected.mean, abs=0.0075)
    assert of_model["sd"]["value"] == pytest.approx(expected.sd, abs=0.0075)
    assert of_model["samples"] == 4
    (of_shop,) = learned(shop, kind="rod", level="shop")
    assert of_shop["samples"] == 5
    own = plan_for(shop, instruments[0])["inputs"]["rod_response"]
    assert own["source"] == "learned from 2 samples of this instrument"
    assert own["mean"]["value"] == pytest.approx(by_hand.of(0, "model").mean * 0.993, abs=0.0075)
    fresh = plan_for(shop, shop.instrument())["inputs"]["rod_response"]
    assert (fresh["samples"], fresh["source"]) == (4, "learned from 4 samples of this model")
    stranger = plan_for(shop, shop.instrument(shop.model("Plover")))
    assert stranger["inputs"]["rod_response"]["source"] == "learned from 5 samples of other models"
    step = next(each for each in stranger["steps"] if each["kind"] == "relief")
    assert "learned from 5 samples of other models" in step["confidence"]


def test_without_samples_the_stated_prior_stands(shop: Shop) -> None:
    told = plan_for(shop, shop.workshop.ids["instrument"])["inputs"]["rod_response"]
    assert (told["mean"]["value"], told["sd"]["value"], told["samples"]) == (
        ROD_PRIOR.mean,
        ROD_PRIOR.sd,
        0,
    )


def test_a_rod_that_gives_more_than_usual_is_turned_less_the_surer_the_more_it_has_taught(
    shop: Shop,
) -> None:
    """A simulated model whose rods give 0.66 mm a turn, read with feelers; one turn of others gives 0.40."""
    dice = random.Random(11)
    stranger = shop.instrument()

    def planned() -> tuple[float, float, float, str]:
        plan = plan_for(shop, stranger)
        step = next(each for each in plan["steps"] if each["kind"] == "relief")
        rod = plan["inputs"]["rod_response"]
        told = (step["moves"][0]["total_turns"]["value"], rod["mean"]["value"], rod["sd"]["value"])
        return *told, step["confidence"]

    found = [planned()]
    for count in (2, 12):
        for _ in range(count):
            before = 0.45 + dice.gauss(0.0, 0.01)
            shop.run(shop.instrument(), 0.25, before, before - 0.25 * 0.66 + dice.gauss(0.0, 0.01))
        shop.count()
        found.append(planned())
    turns, means, spreads, told = zip(*found, strict=True)
    assert turns[0] == 0.625
    assert turns[0] > turns[-1] == 0.375
    assert means[0] == -0.40 > means[1] > means[2] > -0.67
    assert spreads[0] == 0.16 > spreads[1] > spreads[2]
    assert [each.rpartition("(")[2] for each in told] == [
        "stated prior; no samples of this model yet)",
        "learned from 2 samples of this model)",
        "learned from 14 samples of this model)",
    ]
    # never more than a quarter turn at once, whatever was learned
    plan = plan_for(shop, stranger)
    assert max(abs(move["turns"]["value"]) for step in plan["steps"] for move in step["moves"]
               if step["kind"] == "relief") <= 0.25  # fmt: skip


def test_a_digest_changes_when_what_was_learned_does_and_not_before(shop: Shop) -> None:
    job = shop.job(shop.workshop.ids["instrument"])
    shop.read(job, case_one_readings(shop.workshop), stage="as-received")

    def digest() -> str:
        return str(shop.bench.get(f"/v1/jobs/{job['id']}/recommendation").get_json()["digest"])

    before = digest()
    shop.count()
    assert digest() == before
    shop.run(shop.instrument(), 0.25, 0.45, 0.27)
    assert digest() == before
    shop.count()
    after = digest()
    assert after != before
    shop.count()
    assert digest() == after


def test_turns_until_the_neck_has_settled_are_one_sample(shop: Shop) -> None:
    job = shop.job(shop.workshop.ids["instrument"])
    shop.relief(job, 0.50)
    shop.wait(5)
    shop.turn(job, 0.25)
    shop.wait(5)
    shop.relief(job, 0.44)  # read at once: the neck is still on its way
    shop.turn(job, 0.125)
    shop.wait(70)
    shop.relief(job, 0.33)
    shop.wait(5)
    shop.turn(job, 0.125)
    shop.wait(5)
    shop.relief(job, 0.30)
    shop.count()
    last, first = samples(shop)
    assert first["moved"]["value"] == 0.375
    assert first["response"] == pytest.approx((0.33 - 0.50) / 0.993 / 0.375, abs=0.003)
    assert first["used"] is True
    assert first["doubt"] is None
    assert (last["used"], last["doubt"]) == (False, "the reading afterwards had not settled")
    assert learned(shop, kind="rod", level="model")[0]["samples"] == 1
    shop.wait(24 * 60)
    shop.relief(job, 0.28)
    shop.count()
    last, first = samples(shop)
    assert last["used"] is True
    assert last["response"] == pytest.approx((0.28 - 0.33) / 0.993 / 0.125, abs=0.003)


def test_a_wrong_sign_is_flagged_for_a_human_and_not_used(shop: Shop) -> None:
    shop.run(shop.workshop.ids["instrument"], 0.25, 0.30, 0.62)
    shop.run(shop.instrument(), 0.25, 0.45, 0.34)
    shop.count()
    (flagged,) = samples(shop, "?flagged=true&reviewed=false")
    assert flagged["doubt"].startswith("wrong sign, beyond the noise")
    assert flagged["used"] is False
    assert learned(shop, kind="rod", level="shop")[0]["samples"] == 1
    path = f"/v1/adjustment-responses/samples/{flagged['id']}/review"
    answer = shop.bench.post(path, json={"note": "the rod is reversed; noted on the instrument"})
    assert answer.status_code == 200
    assert answer.get_json()["reviewed_at"] == shop.now.replace("+00:00", "Z")
    assert samples(shop, "?flagged=true&reviewed=false") == []
    shop.count()
    (seen,) = samples(shop, "?flagged=true&reviewed=true")
    assert seen["review_note"] == "the rod is reversed; noted on the instrument"


def test_a_sample_that_somebody_leaves_out_teaches_nothing(shop: Shop) -> None:
    shop.run(shop.workshop.ids["instrument"], 0.25, 0.45, 0.34)
    shop.count()
    (sample,) = samples(shop)
    assert (sample["used"], sample["doubt"]) == (True, None)
    path = f"/v1/adjustment-responses/samples/{sample['id']}/review"
    left_out = shop.bench.post(path, json={"leave_out": True, "note": "typed on the wrong job"}).get_json()
    assert left_out["used"] is False
    shop.count()
    assert learned(shop) == []
    assert shop.bench.post(path, json={"leave_out": False}).get_json()["used"] is True
    shop.count()
    assert learned(shop, level="model")[0]["samples"] == 1


def test_a_reading_off_pitch_and_one_of_a_superseded_sheet_teach_nothing(shop: Shop) -> None:
    job = shop.job(shop.workshop.ids["instrument"])
    wrong = shop.relief(job, 0.75)
    shop.wait(1)
    shop.relief(job, 0.45, supersedes=wrong, supersedes_reason="mistyped")
    shop.wait(5)
    shop.turn(job, 0.25)
    shop.wait(70)
    shop.relief(job, 0.35)
    shop.wait(1)
    shop.relief(job, 0.10, at_pitch=False)
    shop.count()
    (sample,) = samples(shop)
    assert sample["before"]["value"] == pytest.approx(0.45 / 0.993, abs=0.002)
    assert sample["after"]["value"] == pytest.approx(0.35 / 0.993, abs=0.002)


def test_other_work_in_between_is_told_and_not_learned_from(shop: Shop) -> None:
    job = shop.job(shop.workshop.ids["instrument"])
    shop.relief(job, 0.45)
    shop.wait(5)
    shop.turn(job, 0.25)
    shop.turn(job, None, "strings", string_set_id=shop.workshop.ids["strings"])
    shop.wait(70)
    shop.relief(job, 0.35)
    shop.count()
    (sample,) = samples(shop)
    assert (sample["alone"], sample["used"]) == (False, False)
    assert sample["doubt"] == "something else that moves this reading was done in between"


def test_action_that_follows_relief_as_the_geometry_says_narrows_the_forecast(shop: Shop) -> None:
    def readings(relief: float, bass: float, treble: float) -> list[dict[str, Any]]:
        depth, feelers = shop.workshop.ids["depth"], shop.workshop.ids["feelers"]
        return [
            {"quantity": "relief", "side": "bass", "value": mm(relief), "tool_id": feelers},
            {"quantity": "action", "side": "bass", "value": mm(bass), "tool_id": depth},
            {"quantity": "action", "side": "treble", "value": mm(treble), "tool_id": depth},
        ]

    before = plan_for(shop, shop.workshop.ids["instrument"])["inputs"]["coupling_sd"]
    assert before == 0.3
    for _ in range(4):
        job = shop.job(shop.instrument())
        shop.read(job, readings(0.45, 2.2, 1.9))
        shop.wait(5)
        for _ in range(2):
            shop.turn(job, 0.25)
        shop.wait(70)
        shop.read(job, readings(0.25, 2.2 - 0.334, 1.9 - 0.334))  # 1.67 mm of action per mm of relief
        shop.give_back(job)
    shop.count()
    told = [each for each in samples(shop) if each["kind"] == "coupling"]
    assert [each["response"] for each in told] == [pytest.approx(1.67 * 0.993, abs=0.01)] * 4
    assert told[0]["expected"] == pytest.approx(1.67 * 0.993, abs=0.01)
    after = plan_for(shop, shop.workshop.ids["instrument"])["inputs"]["coupling_sd"]
    assert 0.1 < after < 0.28


def test_marks_are_worked_off_once(shop: Shop, database: Database) -> None:
    shop.run(shop.workshop.ids["instrument"], 0.25, 0.45, 0.34)
    assert shop.count() == 1
    with database.read() as session:
        assert session.scalar(select(func.count()).select_from(LearningMark)) == 0
    assert shop.count() == 0


def test_a_worker_that_is_killed_before_it_has_learned_leaves_that_to_the_next(
    shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    shop.run(shop.workshop.ids["instrument"], 0.25, 0.45, 0.30)
    shop.run(shop.workshop.ids["instrument"], 0.25, 0.50, 0.36)

    def killed(*_args: Any) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patched:
        patched.setattr(recount, "pooled", killed)
        with pytest.raises(KeyboardInterrupt):
            shop.count()
    assert len(samples(shop)) == 2
    assert learned(shop, kind="rod", level="shop") == []
    assert shop.count() == 1
    (found,) = learned(shop, kind="rod", level="shop")
    assert found["samples"] == 2
    assert shop.count() == 0
