"""The acceptance cases through HTTP: common practice, no published source; figures from neck geometry."""

from __future__ import annotations

from typing import Any

import pytest

from shimstock_server.clock import FixedClock
from tests.cases import (
    BACK_BOW,
    BASS_FINAL,
    BASS_RECEIVED,
    CASES,
    FLOATING_TREMOLO,
    HIGH_SADDLE,
    LOW_SADDLE,
    NEW_STRINGS,
    OLD_STRINGS,
    TWO_POST_ELECTRIC,
)
from tests.server.clients import Client

from .case_shop import CaseShop, Plain, enter

pytestmark = pytest.mark.usefixtures("staff")


@pytest.fixture
def entered(client: Client, bench_client: Client, clock: FixedClock) -> Any:
    """Enter a case and give the shop in which it stands."""

    def make(case: Plain) -> CaseShop:
        return enter(client, bench_client, clock, case)

    return make


def step(plan: Plain, kind: str) -> Plain:
    """The one step of this kind."""
    found = [each for each in plan["steps"] if each["kind"] == kind]
    assert len(found) == 1, [each["what"] for each in plan["steps"]]
    only: Plain = found[0]
    return only


def after(changes: list[Plain], quantity: str) -> list[float]:
    """Where a quantity ends, bass side before treble side [mm]."""
    ends = {change["side"]: change["after"]["value"] for change in changes if change["quantity"] == quantity}
    return [ends[side] for side in ("bass", "treble", None) if side in ends]


def turns(step: Plain) -> list[float]:
    """What is to be turned now."""
    return [move["turns"]["value"] for move in step["moves"]]


def test_two_post_electric(entered: Any) -> None:
    plan = entered(TWO_POST_ELECTRIC).plan()
    expected = TWO_POST_ELECTRIC["expected"]
    rod, bridge = step(plan, "relief"), step(plan, "action")
    assert rod["do_now"]
    assert [each["do_now"] for each in plan["steps"]].count(True) == 1
    assert turns(rod) == [expected["turns_now"]]
    assert rod["moves"][0]["total_turns"]["value"] == expected["turns_in_all"]
    assert rod["moves"][0]["direction"] == "tighten"
    assert "clockwise" in rod["moves"][0]["seen"]
    now, in_all = expected["after_now"], expected["after_all"]
    assert after(rod["changes"], "relief")[0] == pytest.approx(now["relief"], abs=0.005)
    assert after(rod["forecasts"], "action") == pytest.approx(now["action"], abs=0.005)
    assert after(rod["forecasts"], "nut-action") == pytest.approx(now["nut-action"], abs=0.001)
    assert after(rod["total"], "relief")[0] == pytest.approx(in_all["relief"], abs=0.001)
    assert after(rod["total_forecasts"], "action") == pytest.approx(in_all["action"], abs=0.001)
    assert after(rod["total_forecasts"], "nut-action") == pytest.approx(in_all["nut-action"], abs=0.001)
    bass, treble = bridge["moves"]
    assert (bass["turns"]["value"], treble["turns"]["value"]) == tuple(expected["bridge_turns"])
    wanted = [move["wanted"]["value"] for move in (bass, treble)]
    assert wanted == pytest.approx(expected["bridge_wanted_turns"], abs=0.001)
    assert after(bridge["changes"], "action") == pytest.approx(expected["final_action"], abs=0.001)
    assert not bridge["do_now"]


def test_back_bow_with_a_loose_single_action_rod(entered: Any) -> None:
    plan = entered(BACK_BOW).plan()
    expected = BACK_BOW["expected"]
    assert not any(move["part"] == "truss-rod" for each in plan["steps"] for move in each["moves"])
    assert not any(move["part"] == "bridge-post" for each in plan["steps"] for move in each["moves"])
    told = " ".join([note["text"] for note in plan["notes"]] + [
        alternative for note in plan["notes"] for alternative in note["alternatives"]
    ])  # fmt: skip
    assert "never tighten" in told
    assert f"{expected['heavier_pull']:.0f} N more ({expected['heavier_percent']} %)" in told
    assert "to about -0.01 mm: not enough" in told
    assert "1.82 / 1.62 mm" in told
    assert any(note["quote"] for note in plan["notes"])


def test_back_bow_with_a_dual_action_rod_is_loosened(entered: Any) -> None:
    instrument = BACK_BOW["instrument"] | {"rod": {"kind": "dual-action"}}
    rod = step(entered({**BACK_BOW, "instrument": instrument}).plan(), "relief")
    now, in_all = BACK_BOW["expected"]["dual_action_turns"]
    assert turns(rod) == [now]
    assert rod["moves"][0]["total_turns"]["value"] == in_all
    assert rod["moves"][0]["direction"] == "loosen"
    assert any("free play" in caution["text"] for caution in rod["cautions"])


def test_floating_tremolo_gets_heavier_strings(entered: Any) -> None:
    plan = entered(FLOATING_TREMOLO).plan()
    expected = FLOATING_TREMOLO["expected"]
    kinds = [each["kind"] for each in plan["steps"]]
    assert kinds.index("restring") < kinds.index("balance") < kinds.index("relief") < kinds.index("action")
    strings = step(plan, "restring")
    assert strings["do_now"]
    assert after(strings["changes"], "relief")[0] == pytest.approx(
        expected["relief_after_strings"], abs=0.001
    )
    assert after(strings["forecasts"], "action") == pytest.approx(expected["action_after_strings"], abs=0.006)
    assert f"{expected['springs_percent']} %" in step(plan, "balance")["why"]
    rod = step(plan, "relief")
    assert turns(rod) == [expected["rod_turns"]]
    assert after(rod["changes"], "relief")[0] == pytest.approx(0.20, abs=0.005)
    pivots = step(plan, "action")
    assert turns(pivots) == expected["pivot_turns"]
    assert after(pivots["changes"], "action") == pytest.approx(expected["final_action"], abs=0.006)
    assert any("block the bridge" in caution["text"] for caution in strings["cautions"])


def test_acoustic_saddle_that_cannot_go_low_enough(entered: Any) -> None:
    plan = entered(LOW_SADDLE).plan()
    expected = LOW_SADDLE["expected"]
    relief = next(each for each in plan["verdicts"] if each["quantity"] == "relief")
    value, uncertainty, probability = expected["relief"]
    assert relief["value"]["value"] == pytest.approx(value, abs=0.001)
    assert relief["uncertainty"]["value"] == pytest.approx(uncertainty, abs=0.001)
    assert relief["probability"] == pytest.approx(probability, abs=0.001)
    assert relief["verdict"] == "in spec"
    saddle = step(plan, "action")
    assert [move["amount"]["value"] for move in saddle["moves"]] == pytest.approx(expected["allowed_off"])
    assert after(saddle["changes"], "action") == pytest.approx(expected["action"], abs=0.001)
    assert saddle["irreversible"]
    told = " ".join(note["text"] for note in plan["notes"])
    assert "refused" in told
    assert any("neck angle" in text for note in plan["notes"] for text in note["alternatives"])
    assert not any(move["part"] == "truss-rod" for each in plan["steps"] for move in each["moves"])


def test_acoustic_saddle_that_can(entered: Any) -> None:
    saddle = step(entered(HIGH_SADDLE).plan(), "action")
    expected = HIGH_SADDLE["expected"]
    assert [move["amount"]["value"] for move in saddle["moves"]] == pytest.approx(expected["off"])
    assert after(saddle["changes"], "action") == pytest.approx(expected["action"], abs=0.001)
    assert saddle["do_now"]


def test_the_saddle_waits_for_the_owners_yes(entered: Any) -> None:
    saddle = step(entered({**HIGH_SADDLE, "consents": []}).plan(), "action")
    assert saddle["blocked_by"]
    assert not saddle["do_now"]


def test_bass_read_in_64ths(entered: Any) -> None:
    plan = entered(BASS_RECEIVED).plan()
    expected = BASS_RECEIVED["expected"]
    rod = step(plan, "relief")
    now, in_all = expected["turns"]
    assert turns(rod) == [now]
    assert rod["moves"][0]["total_turns"]["value"] == in_all
    assert after(rod["total"], "relief")[0] == pytest.approx(expected["after_all"]["relief"], abs=0.001)
    assert after(rod["total_forecasts"], "action") == pytest.approx(
        expected["after_all"]["action"], abs=0.001
    )
    saddles = step(plan, "action")
    assert set(turns(saddles)) >= {expected["saddle_turns"]}
    assert "counter-clockwise" in saddles["moves"][0]["seen"]
    assert after(saddles["changes"], "action") == pytest.approx(expected["final_action"], abs=0.001)
    assert "1.5 mm" in saddles["what"]


def test_bass_final_readings_in_64ths_are_in_spec(entered: Any) -> None:
    plan = entered(BASS_FINAL).plan()
    action = [each for each in plan["verdicts"] if each["quantity"] == "action"]
    for verdict, probability in zip(action, BASS_FINAL["expected"]["probability"], strict=True):
        assert verdict["uncertainty"]["value"] == pytest.approx(0.115, abs=0.0005)
        assert verdict["probability"] == pytest.approx(probability, abs=0.001)
        assert verdict["verdict"] == "in spec"
    assert plan["complete"]


def test_old_strings_are_changed_before_intonation_is_touched(entered: Any) -> None:
    kinds = [each["kind"] for each in entered(OLD_STRINGS).plan()["steps"]]
    assert kinds[0] == "restring"
    assert "intonation" not in kinds


def test_intonation(entered: Any) -> None:
    plan = entered(NEW_STRINGS).plan()
    expected = NEW_STRINGS["expected"]
    verdicts = {str(each["string"]): each for each in plan["verdicts"] if each["quantity"] == "intonation"}
    for string, probability in expected["repeat"].items():
        assert verdicts[string]["verdict"] == "too close to call"
        assert verdicts[string]["probability"] == pytest.approx(probability, abs=0.005)
    again = [
        wanted for each in plan["steps"] if each["kind"] == "read-again" for wanted in each["readings_next"]
    ]
    assert {str(wanted["string"]) for wanted in again} == set(expected["repeat"])
    moves = {str(move["string"]): move for move in step(plan, "intonation")["moves"]}
    for string, amount in expected["moves_mm"].items():
        assert moves[string]["turns"]["value"] == expected["moves_turns"][string]
        assert moves[string]["wanted"]["value"] * 0.5 == pytest.approx(amount, abs=0.005)
        assert moves[string]["direction"] == ("away from the nut" if amount > 0 else "toward the nut")
    assert "1" not in moves
    assert "4" not in moves
    short = expected["short"]
    told = " ".join(
        text for note in plan["notes"] for text in (note["text"], *note["alternatives"])
    )  # fmt: skip
    assert f"{short['gains']} cents" in told
    assert f"{short['stays']} cents" in told
    assert "never mistune" in told


@pytest.mark.parametrize("name", list(CASES))
def test_the_same_readings_give_the_same_plan(entered: Any, name: str) -> None:
    shop = entered(CASES[name])
    first, again = shop.plan(), shop.plan()
    assert first == again
    assert shop.plan("?units=inch")["digest"] == first["digest"]
