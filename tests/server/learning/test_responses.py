"""How far relief follows the rod: learned from what benches read, used by the next plan."""

from __future__ import annotations

import math
import random
from typing import Any

import pytest
from sqlalchemy import func, select

from shimstock_calc.belief.learned import Row, messages, pool
from shimstock_calc.belief.responses import stated
from shimstock_calc.response import ROD_PRIOR
from shimstock_server.clock import FixedClock
from shimstock_server.config import Config
from shimstock_server.database.session import Database
from shimstock_server.database.tables.learning import LearningMark
from shimstock_server.learning import rebuild, recount
from tests.calc.plan_inputs import plan_input
from tests.calc.plan_made import CASE, relief
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
    turns = [(0.25, 0.45, 0.30), (0.25, 0.50, 0.36), (0.125, 0.40, 0.33), (-0.25, 0.10, 0.24)]
    instruments = [shop.workshop.ids["instrument"], shop.instrument()]
    for number, (moved, before, after) in enumerate(turns):
        shop.run(instruments[number % 2], moved, before, after)
    other = shop.instrument(shop.model("Wren"))
    shop.run(other, 0.25, 0.40, 0.31)
    assert shop.count() == 5
    told = [(*each, number % 2, "model") for number, each in enumerate(turns)] + [
        (0.25, 0.40, 0.31, 9, "other")
    ]
    by_hand = pool(
        [
            Row(model, str(name), str(number), messages(job_of(moved, before, after))["rod"])
            for number, (moved, before, after, name, model) in enumerate(told)
        ],
        stated()["rod"],
    )
    model_id = shop.workshop.ids["model"]
    (of_model,) = learned(shop, kind="rod", level="model", model_id=model_id)
    expected = by_hand.models["model"].block
    assert of_model["mean"]["value"] == pytest.approx(sum(expected.mean), abs=2e-4)
    assert of_model["sd"]["value"] == pytest.approx(math.sqrt(sum(map(sum, expected.covariance))), abs=2e-4)
    assert of_model["samples"] == 4
    assert 0.2 < of_model["late_share"] < 0.6
    assert of_model["half_time"]["unit"] == "min"
    assert 31 < of_model["half_time"]["value"] < 277  # between the halves of 45 and 400 min
    (of_shop,) = learned(shop, kind="rod", level="shop")
    assert of_shop["samples"] == 5
    own = plan_for(shop, instruments[0])["inputs"]["rod_response"]
    assert own["source"] == "learned from 2 jobs on this instrument"
    # kept where relief is largest, taken where the spec reads it: from its own test 0.993
    assert own["mean"]["value"] == pytest.approx(sum(by_hand.instruments["0"].block.mean) * 0.993, abs=1e-3)
    fresh = plan_for(shop, shop.instrument())["inputs"]["rod_response"]
    assert (fresh["samples"], fresh["source"]) == (4, "learned from 4 jobs on this model")
    stranger = plan_for(shop, shop.instrument(shop.model("Plover")))
    assert stranger["inputs"]["rod_response"]["source"] == "learned from 5 jobs on other models"
    step = next(each for each in stranger["steps"] if each["kind"] == "relief")
    assert "learned from 5 jobs on other models" in step["confidence"]


def job_of(moved: float, before: float, after: float) -> Any:
    """The same job as the shop's `run`, as the calculation takes it."""
    readings = [relief(before, order=0), relief(after, order=2, at=75.0)]
    turned = {"part": "truss-rod", "turns": moved, "order": 1, "at": 5.0}
    return plan_input(CASE, readings=readings, adjustments=[turned])


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
    """A simulated model whose rods give 0.66 mm a turn past 0.08 turn of play, read with feelers."""
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
            shop.run(shop.instrument(), 0.25, before, before - (0.25 - 0.08) * 0.66 + dice.gauss(0.0, 0.01))
        shop.count()
        found.append(planned())
    turns, means, spreads, told = zip(*found, strict=True)
    assert turns[0] == 0.625
    assert turns[0] > turns[-1] == 0.375
    assert means[0] == -0.40 > means[1] > means[2] > -0.75
    assert spreads[0] == 0.16 > spreads[1] > spreads[2]
    assert [each.rpartition("(")[2] for each in told] == [
        "stated prior; no samples of this model yet)",
        "learned from 2 jobs on this model)",
        "learned from 14 jobs on this model)",
    ]
    # never more than a quarter turn at once, whatever was learned
    plan = plan_for(shop, stranger)
    assert max(abs(move["turns"]["value"]) for step in plan["steps"] for move in step["moves"]
               if step["kind"] == "relief") <= 0.25  # fmt: skip


def test_eight_alike_bring_the_model_most_of_the_way(shop: Shop) -> None:
    """Rods that give 0.85 mm a turn past 0.08 turn of play: a gate used to leave all of them out."""
    for _ in range(8):
        job = shop.job(shop.instrument())
        shop.relief(job, 0.90)
        for turns in (0.25, 0.50, 0.75):
            shop.wait(5)
            shop.turn(job, 0.25)
            shop.wait(24 * 60)
            shop.relief(job, round(0.90 - 0.85 * (turns - 0.08), 3))
        shop.give_back(job)
    shop.count()
    (of_model,) = learned(shop, kind="rod", level="model")
    assert of_model["mean"]["value"] == pytest.approx(-0.85, abs=0.06)
    assert samples(shop, "?flagged=true") == []


def test_a_plan_stays_with_what_was_learned_when_its_first_reading_came(shop: Shop) -> None:
    job = shop.job(shop.workshop.ids["instrument"])

    def plan() -> dict[str, Any]:
        told: dict[str, Any] = shop.bench.get(f"/v1/jobs/{job['id']}/recommendation").get_json()
        return told

    before = plan()
    shop.run(shop.instrument(), 0.25, 0.45, 0.27)
    shop.count()
    first = plan()
    assert first["digest"] != before["digest"]
    assert first["inputs"]["rod_response"]["source"] == "learned from 1 job on this model"
    shop.read(job, case_one_readings(shop.workshop), stage="as-received")
    kept = plan()
    assert kept["inputs"]["rod_response"] == first["inputs"]["rod_response"]
    shop.run(shop.instrument(), 0.25, 0.45, 0.40)
    shop.count()
    assert plan()["digest"] == kept["digest"]
    fresh = plan_for(shop, shop.instrument())["inputs"]["rod_response"]
    assert fresh["source"] == "learned from 2 jobs on this model"


def test_a_job_does_not_learn_from_itself(shop: Shop) -> None:
    job = shop.job(shop.workshop.ids["instrument"])
    shop.relief(job, 0.60)
    shop.wait(5)
    shop.turn(job, 0.25)
    shop.wait(70)
    shop.relief(job, 0.40)
    shop.count()
    assert learned(shop, kind="rod", level="instrument")[0]["samples"] == 1
    told = shop.bench.get(f"/v1/jobs/{job['id']}/recommendation").get_json()["inputs"]["rod_response"]
    assert told["source"] == "stated prior; no samples of this model yet"


def test_a_job_is_one_sample_however_often_its_rod_was_turned(shop: Shop) -> None:
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
    (found,) = samples(shop)
    assert (found["moved"]["value"], found["settled"], found["alone"], found["used"]) == (
        0.5,
        False,
        True,
        True,
    )
    assert found["response"] == pytest.approx((0.30 - 0.50) / 0.993 / 0.5, abs=0.003)
    early = learned(shop, kind="rod", level="model")[0]
    shop.wait(24 * 60)
    shop.relief(job, 0.28)
    shop.count()
    (again,) = samples(shop)
    assert (again["id"], again["settled"]) == (found["id"], True)
    late = learned(shop, kind="rod", level="model")[0]
    assert late["sd"]["value"] < early["sd"]["value"]


def figures(shop: Shop) -> list[Any]:
    """Everything that was learned, but when."""
    rows = [{**each, "learned_at": None} for each in learned(shop)]
    return sorted(rows, key=lambda each: (each["kind"], each["level"], str(each["instrument_id"])))


def test_a_superseded_sheet_leaves_no_trace(shop: Shop) -> None:
    shop.run(shop.instrument(), 0.25, 0.45, 0.33)
    job = shop.job(shop.workshop.ids["instrument"])
    shop.relief(job, 0.45)
    shop.wait(5)
    shop.turn(job, 0.25)
    shop.wait(70)
    wrong = shop.relief(job, 0.25)
    shop.count()
    misled = figures(shop)
    shop.relief(job, 0.35, supersedes=wrong, supersedes_reason="mistyped")
    shop.count()
    corrected = figures(shop)
    assert corrected != misled
    # the same shop without the slip
    (told,) = [each for each in samples(shop) if each["job_id"] == job["id"]]
    assert told["after"]["value"] == pytest.approx(0.35 / 0.993, abs=0.002)
    path = f"/v1/adjustment-responses/samples/{told['id']}/review"
    assert shop.bench.post(path, json={"leave_out": True}).status_code == 200
    clean = shop.job(shop.instrument())
    shop.relief(clean, 0.45)
    shop.wait(5)
    shop.turn(clean, 0.25)
    shop.wait(70)
    shop.relief(clean, 0.35)
    shop.count()
    assert nameless(figures(shop)) == nameless(corrected)


def test_an_adjustment_that_was_taken_back_leaves_no_trace(shop: Shop) -> None:
    model = shop.workshop.ids["model"]

    def steps() -> list[tuple[str, int, float]]:
        asked = f"/v1/reports/instrument-models/{model}?first=2020-01-01&last=2029-12-31"
        report = shop.bench.get(asked).get_json()
        return [(each["name"], each["count"], each["way_mean"]["value"]) for each in report["steps"]]

    job = shop.job(shop.workshop.ids["instrument"])
    shop.relief(job, 0.45)
    shop.wait(5)
    shop.turn(job, 0.25)
    shop.wait(70)
    shop.relief(job, 0.35)
    shop.count()
    clean, counted = figures(shop), steps()
    assert counted == [("truss-rod", 1, 0.25)]
    wrong = shop.turn(job, -0.125)
    shop.wait(70)
    shop.relief(job, 0.35)
    shop.count()
    assert (figures(shop) != clean, steps()) == (True, [("truss-rod", 2, 0.188)])
    path = f"/v1/jobs/{job['id']}/adjustments/{wrong}/withdrawal"
    assert shop.bench.post(path, json={"reason": "turned on the other guitar"}).status_code == 200
    assert steps() == counted  # before the worker has looked
    shop.count()
    assert steps() == counted
    (told,) = samples(shop)
    assert told["moved"] == {"value": 0.25, "unit": "turn"}


def test_counting_everything_anew_learns_the_same(
    shop: Shop, database: Database, config: Config, clock: FixedClock
) -> None:
    other = shop.instrument()
    shop.run(other, 0.25, 0.45, 0.33)
    shop.run(shop.workshop.ids["instrument"], 0.25, 0.50, 0.42)
    shop.count()
    shop.run(other, -0.25, 0.10, 0.22)
    shop.count()
    step_by_step = figures(shop)
    assert len(step_by_step) == 4
    rebuild(database, config, clock)
    assert figures(shop) == step_by_step


def nameless(rows: list[Any]) -> list[Any]:
    """The same figures, whichever instrument they belong to."""
    bare = [{**each, "instrument_id": None} for each in rows]
    return sorted(bare, key=lambda each: (each["kind"], each["level"], each["mean"]["value"]))


def test_one_that_is_unlike_its_model_is_flagged_and_counts_little(shop: Shop) -> None:
    def turned(instrument: str, *reliefs: float) -> None:
        job = shop.job(instrument)
        for place, value in enumerate(reliefs):
            shop.relief(job, value)
            shop.wait(5)
            if place + 1 < len(reliefs):
                shop.turn(job, 0.25)
                shop.wait(70)
        shop.give_back(job)

    for _ in range(5):
        turned(shop.instrument(), 0.60, 0.53, 0.43, 0.33)
    shop.count()
    (alike,) = learned(shop, kind="rod", level="model")
    odd = shop.workshop.ids["instrument"]
    for _ in range(2):
        turned(odd, 0.45, 0.52, 0.62, 0.72)  # the rod is reversed
    shop.count()
    flagged = samples(shop, "?flagged=true&reviewed=false")
    assert {each["instrument_id"] for each in flagged} == {odd}
    assert flagged[0]["doubt"].startswith("a turn moves relief by 0.")
    assert flagged[0]["used"] is True
    (after_it,) = learned(shop, kind="rod", level="model")
    assert after_it["mean"]["value"] == pytest.approx(alike["mean"]["value"], abs=0.05)
    path = f"/v1/adjustment-responses/samples/{flagged[0]['id']}/review"
    answer = shop.bench.post(path, json={"note": "the rod is reversed; noted on the instrument"})
    assert answer.status_code == 200
    assert answer.get_json()["reviewed_at"] == shop.now.replace("+00:00", "Z")
    assert len(samples(shop, "?flagged=true&reviewed=false")) == len(flagged) - 1
    shop.count()
    (seen,) = samples(shop, "?flagged=true&reviewed=true")
    assert seen["review_note"] == "the rod is reversed; noted on the instrument"


def test_a_reading_that_nothing_explains_teaches_next_to_nothing(shop: Shop) -> None:
    shop.run(shop.workshop.ids["instrument"], 0.25, 0.30, 0.62)
    shop.count()
    found = learned(shop, kind="rod", level="model")
    assert all(each["mean"]["value"] == pytest.approx(-0.40, abs=0.03) for each in found)


def test_a_sample_that_is_left_out_teaches_nothing(shop: Shop) -> None:
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


def test_a_reading_off_pitch_teaches_nothing(shop: Shop) -> None:
    shop.run(shop.workshop.ids["instrument"], 0.25, 0.45, 0.35)
    shop.count()
    plain = figures(shop)
    job = shop.job(shop.workshop.ids["instrument"])
    shop.relief(job, 0.45)
    shop.wait(5)
    shop.turn(job, 0.25)
    shop.wait(70)
    shop.relief(job, 0.10, at_pitch=False)
    shop.count()
    assert figures(shop) == plain


def test_new_strings_teach_how_far_relief_follows_their_pull(shop: Shop) -> None:
    heavier = heavier_set(shop)
    for _ in range(3):
        job = shop.job(shop.instrument())
        shop.relief(job, 0.20)
        shop.wait(5)
        shop.turn(job, None, "strings", string_set_id=heavier)
        shop.wait(70)
        shop.relief(job, 0.36)
        shop.give_back(job)
    shop.count()
    (of_model,) = learned(shop, kind="compliance", level="model")
    assert of_model["samples"] == 3
    assert of_model["mean"]["value"] > 1.2e-3
    (first, *_) = samples(shop, "?kind=compliance")
    assert first["moved"]["value"] > 50.0
    assert first["moved"]["unit"] == "N"
    wants = {"restring": True, "string_set_id": heavier}
    made = shop.manager.post(
        "/v1/jobs", json={"instrument_id": shop.workshop.ids["instrument"], "wants": wants}
    ).get_json()
    readings = case_one_readings(shop.workshop)
    shop.bench.post(f"/v1/jobs/{made['id']}/reading-sheets", json=sheet(readings, taken_at=shop.now))
    plan = shop.bench.get(f"/v1/jobs/{made['id']}/recommendation").get_json()
    step = next(each for each in plan["steps"] if each["kind"] == "restring")
    assert "learned from 3 jobs on this model" in step["confidence"]


def heavier_set(shop: Shop) -> str:
    """The shop's set, every string of it with 22 % more pull."""
    sets = shop.manager.get("/v1/string-sets").get_json()["items"]
    present = next(each for each in sets if each["id"] == shop.workshop.ids["strings"])
    strings = [
        {"number": each["number"], "gauge": {"value": each["gauge"]["value"], "unit": each["gauge"]["unit"]},
         "wound": each["wound"],
         "linear_density": {"value": 1.22 * each["linear_density"]["value"],
                            "unit": each["linear_density"]["unit"]}}
        for each in present["strings"]
    ]  # fmt: skip
    body = {"name": "heavier by more than a fifth", "built_for": "steel", "strings": strings}
    shop.workshop.add("heavier", "/v1/string-sets", body)
    return shop.workshop.ids["heavier"]


def test_action_that_follows_relief_as_the_geometry_says_narrows_the_forecast(shop: Shop) -> None:
    def readings(relief: float, bass: float, treble: float) -> list[dict[str, Any]]:
        depth, feelers = shop.workshop.ids["depth"], shop.workshop.ids["feelers"]
        return [
            {"quantity": "relief", "side": "bass", "value": mm(relief), "tool_id": feelers},
            {"quantity": "action", "side": "bass", "value": mm(bass), "tool_id": depth},
            {"quantity": "action", "side": "treble", "value": mm(treble), "tool_id": depth},
        ]

    def run(ratio: float, instrument: str) -> None:
        job = shop.job(instrument)
        shop.read(job, readings(0.45, 2.2, 1.9))
        shop.wait(5)
        for _ in range(2):
            shop.turn(job, 0.25)
        shop.wait(70)
        shop.read(job, readings(0.25, 2.2 - 0.2 * ratio, 1.9 - 0.2 * ratio))
        shop.give_back(job)

    before = plan_for(shop, shop.workshop.ids["instrument"])
    assert before["inputs"]["coupling_sd"] == 0.3
    for _ in range(4):
        run(1.67, shop.instrument())  # mm of action per mm of relief
    shop.count()
    told = [each for each in samples(shop) if each["kind"] == "coupling"]
    assert [each["response"] for each in told] == [pytest.approx(1.67 * 0.993, abs=0.01)] * 4
    assert told[0]["expected"] == pytest.approx(1.67 * 0.993, abs=0.01)
    after = plan_for(shop, shop.workshop.ids["instrument"])
    assert 0.1 < after["inputs"]["coupling_sd"] < 0.28

    # what is learned of it moves the forecast, and does not only widen it
    steep = shop.model("Steep")
    for _ in range(4):
        run(2.2, shop.instrument(steep))
    shop.count()
    (of_model,) = learned(shop, kind="coupling", level="model", model_id=shop.workshop.ids[steep])
    assert of_model["mean_number"] > 0.15
    assert {"nut_mean_number", "nut_sd_number"} <= of_model.keys()
    moved = plan_for(shop, shop.instrument(steep))
    assert forecast(moved) < forecast(after) - 0.01


def forecast(plan: dict[str, Any]) -> float:
    """Action on the bass side once the rod has been turned for now."""
    step = next(each for each in plan["steps"] if each["kind"] == "relief")
    change = next(
        each for each in step["forecasts"] if each["quantity"] == "action" and each["side"] == "bass"
    )
    return float(change["after"]["value"])


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
