"""Strings and tunings of real kinds in the plan: what they will do is said before the first string is cut."""

from __future__ import annotations

from typing import Any

import pytest

from tests.server.demo_shop import DemoShop, at_targets, demo_shop

__all__ = ["demo_shop"]

TWELVE = ["E4", "E4", "B3", "B3", "G3", "G4", "D3", "D4", "A2", "A3", "E2", "E3"]


def named(shop: DemoShop, path: str, name: str) -> str:
    """Return the id of a string set or a tuning of the catalogue."""
    items = shop.manager.get(f"/v1/{path}?limit=100").get_json()["items"]
    return str(next(item["id"] for item in items if item["name"] == name))


def plan(shop: DemoShop, model: str, **wants: Any) -> dict[str, Any]:
    """Return the plan for an instrument at the shop's targets whose owner wants something else."""
    instrument_id = shop.instrument(model)
    job_id = shop.job(instrument_id, wants=wants)
    shop.read(job_id, at_targets(shop.models[model]["kind"]))
    answer = shop.bench.get(f"/v1/jobs/{job_id}/recommendation")
    assert answer.status_code == 200, answer.get_data(as_text=True)
    found: dict[str, Any] = answer.get_json()
    return found


def restring(found: dict[str, Any]) -> dict[str, Any]:
    """Return the step that changes the strings."""
    steps = [step for step in found["steps"] if step["kind"] == "restring"]
    assert len(steps) == 1
    only: dict[str, Any] = steps[0]
    return only


def change(changes: list[dict[str, Any]], quantity: str, side: str | None = None) -> float:
    """Return by how much a quantity is forecast to change [mm]."""
    found = next(each for each in changes if each["quantity"] == quantity and side in (None, each["side"]))
    return float(found["after"]["value"] - found["before"]["value"])


def notes(found: dict[str, Any]) -> dict[str, str]:
    """Return the plan's notes by their code."""
    return {note["code"]: note["text"] for note in found["notes"]}


def test_a_heavier_gauge_bows_the_neck_and_raises_the_action(demo_shop: DemoShop) -> None:
    heavier = named(demo_shop, "string-sets", "electric .010–.046")
    step = restring(plan(demo_shop, "Herrow", string_set_id=heavier))
    # .009-.042 and .010-.046 at 25.5 in: 365 and 447 N, + 22.5 %, by hand from the sets' weights
    assert "from 365 to 447 N (+22.5 %)" in step["why"]
    # 1.1e-3 mm/N for a maple neck, from memory, uncertain by a factor 2
    assert change(step["changes"], "relief") == pytest.approx(0.092, abs=0.012)
    assert change(step["forecasts"], "action", "bass") > 0.1
    assert "factor 2" in step["confidence"]


def test_tuning_down_slackens_the_neck(demo_shop: DemoShop) -> None:
    lower = named(demo_shop, "tunings", "half a tone down")
    step = restring(plan(demo_shop, "Kessim", tuning_id=lower))
    assert change(step["changes"], "relief") < 0
    assert change(step["forecasts"], "action", "treble") < 0
    # a semitone down takes 1 - 2^(-2/12) of the pull: 10.9 %
    assert "-10.9 %" in step["why"]


def test_another_tuning_of_one_string_counts_that_string(demo_shop: DemoShop) -> None:
    dropped = named(demo_shop, "tunings", "drop D")
    step = restring(plan(demo_shop, "Kessim", tuning_id=dropped))
    # D2 for E2 takes 1 - 2^(-4/12) = 20.6 % of the sixth string's pull, about 14 of 421 N
    assert "from 421 to 407 N" in step["why"]
    assert -0.04 < change(step["changes"], "relief") < 0


@pytest.mark.parametrize(
    ("octave", "code"),
    [
        # the plain .009 or so of an octave G stands at 0.75 of its strength at G4; × 2^(2/12), 2^(6/12)
        ("G4", None),
        ("Ab4", "string-near-breaking"),
        ("Bb4", "string-breaking"),
    ],
)
def test_octave_pairs_are_held_to_their_strength(demo_shop: DemoShop, octave: str, code: str | None) -> None:
    notes_wanted = [octave if note == "G4" else note for note in TWELVE]
    # the principals a tone lower keep the pull below what the model allows: the octave string alone is judged
    body = {"name": f"octave at {octave}", "notes": ["D4", "D4", "A3", "A3", "F3", *notes_wanted[5:]]}
    made = demo_shop.manager.post("/v1/tunings", json=body)
    assert made.status_code == 201, made.get_data(as_text=True)
    found = plan(demo_shop, "Dozenfold", tuning_id=made.get_json()["id"])
    said = notes(found)
    kinds = [step["kind"] for step in found["steps"]]
    if code == "string-breaking":
        assert "string 6" in said[code]
        assert "restring" not in kinds
    elif code is not None:
        assert "string 6" in said[code]
        assert "restring" in kinds
    else:
        assert not {"string-breaking", "string-near-breaking"} & set(said)
        assert "restring" in kinds


def test_a_pair_tuned_in_octaves_pulls_as_both_its_strings(demo_shop: DemoShop) -> None:
    # the octave strings of four pairs down to unison: half the frequency is a quarter of the pull
    unison = ["E4", "E4", "B3", "B3", "G3", "G3", "D3", "D3", "A2", "A2", "E2", "E2"]
    made = demo_shop.manager.post("/v1/tunings", json={"name": "twelve, in unison", "notes": unison})
    step = restring(plan(demo_shop, "Dozenfold", tuning_id=made.get_json()["id"]))
    assert "from 1077 to 805 N" in step["why"]
    assert change(step["changes"], "relief") < -0.1


def test_more_pull_than_the_model_allows_is_refused(demo_shop: DemoShop) -> None:
    higher = ["F#4", "F#4", "C#4", "C#4", "A3", "G4", "E3", "E4", "B2", "B3", "F#2", "F#3"]
    made = demo_shop.manager.post("/v1/tunings", json={"name": "a tone up", "notes": higher})
    found = plan(demo_shop, "Dozenfold", tuning_id=made.get_json()["id"])
    assert "this model allows 1250 N" in notes(found)["too-much-pull"]
    assert "restring" not in [step["kind"] for step in found["steps"]]


def test_steel_never_goes_on_an_instrument_built_for_nylon(demo_shop: DemoShop) -> None:
    steel = named(demo_shop, "string-sets", "acoustic .011–.052")
    instrument_id = demo_shop.instrument("Lantrel")
    wants = {"string_set_id": steel}
    made = demo_shop.manager.post("/v1/jobs", json={"instrument_id": instrument_id, "wants": wants})
    assert made.status_code == 422
    (error,) = made.get_json()["errors"]
    assert error["pointer"] == "/wants/string_set_id"
    assert "pulled apart" in error["message"]
