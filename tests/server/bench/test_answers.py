"""What the plan's answer says beside its steps, over HTTP: rests, what tools show, slips, what is left."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

import pytest

from shimstock_calc.plan.geometry import ReliefPlace, conversion
from shimstock_server.clock import FixedClock
from tests.cases import DEPTH, DIAL, FEELERS, FLOATING_TREMOLO, TWO_POST_ELECTRIC, acoustic, read, sides
from tests.server.clients import Client
from tests.server.workshop import mm, sheet

from .case_shop import CaseShop, Plain, enter, told

pytestmark = pytest.mark.usefixtures("staff")

SPEC = [each for each in TWO_POST_ELECTRIC["spec"] if each["quantity"] in {"relief", "action", "nut-action"}]
CASE = {**TWO_POST_ELECTRIC, "spec": SPEC}
HEIGHTS = [*sides("action", 1.7, 1.5, DEPTH, fret=12), *sides("nut-action", 0.45, 0.35, DEPTH)]


def relief(value: float, **more: Any) -> Plain:
    """Relief by the string, at the frets of the first case."""
    return read("relief", value, FEELERS, held=[1, 22], fret=9, method="string", **more)


class Bench:
    """A case on the bench, whose entries follow each other by ten minutes."""

    def __init__(self, shop: CaseShop) -> None:
        self.shop = shop

    def read(self, *readings: Plain, minutes: float = 10.0, **more: Any) -> Plain:
        """Post a sheet, so many minutes after the entry before; each reading may say `confirmed`."""
        self.later(minutes)
        return self.shop.read(list(readings), "in-progress", **more)

    def adjust(self, part: str, minutes: float = 10.0, **what: Any) -> Plain:
        """Say what was done."""
        self.later(minutes)
        return self.shop.adjust(part, **what)

    def tighten(self, turns: float = 0.25, minutes: float = 10.0) -> Plain:
        """Say that the rod was tightened."""
        return self.adjust("truss-rod", minutes, turns={"value": turns, "unit": "turn"})

    def later(self, minutes: float = 10.0) -> str:
        """The moment of the next entry."""
        self.shop.clock.advance(timedelta(minutes=minutes))
        return self.shop.clock.now().isoformat()

    def plan(self, query: str = "") -> Plain:
        return self.shop.plan(query)

    def step(self, kind: str) -> Plain:
        """The first step of this kind."""
        found: Plain = next(step for step in self.plan()["steps"] if step["kind"] == kind)
        return found

    def now(self) -> list[Plain]:
        """The steps to do now."""
        return [step for step in self.plan()["steps"] if step["do_now"]]


@pytest.fixture
def bench(client: Client, bench_client: Client, clock: FixedClock) -> Any:
    """Put a case on the bench: the first one, or another, with these readings as received."""

    def make(*readings: Plain, case: Plain = CASE, **more: Any) -> Bench:
        return Bench(enter(client, bench_client, clock, {**case, "readings": list(readings), **more}))

    return make


# ---------------------------------------------------------------- the rest


def settled_but_for_the_rest(bench: Any) -> Bench:
    """A rod that was turned enough, and a bench with nothing else to do."""
    made: Bench = bench(relief(0.32), *HEIGHTS)
    made.tighten()
    made.read(relief(0.22), *HEIGHTS)
    return made


def test_a_rest_has_its_moment_and_what_is_read_then(bench: Any) -> None:
    made = settled_but_for_the_rest(bench)
    turned = made.shop.clock.now() - timedelta(minutes=10)
    plan = made.plan()
    assert [step["kind"] for step in plan["steps"] if step["do_now"]] == ["settle"]
    until = datetime.fromisoformat(plan["rest_until"])
    assert until == turned + timedelta(hours=2)
    assert plan["settle_for"] == {"value": 110.0, "unit": "min"}  # from the newest entry on
    assert [each["quantity"] for each in plan["read_after_rest"]] == ["relief"]
    made.shop.clock.advance(timedelta(hours=5))
    assert made.plan()["rest_until"] == plan["rest_until"]  # never the wall clock


def test_no_rest_is_due_while_the_rod_is_being_turned(bench: Any) -> None:
    made = bench(relief(0.60), *HEIGHTS)
    made.tighten()
    made.read(relief(0.50))
    plan = made.plan()
    assert [step["kind"] for step in plan["steps"] if step["do_now"]] == ["relief"]
    assert (plan["rest_until"], plan["settle_for"], plan["read_after_rest"]) == (None, None, [])


def test_a_neck_that_rested_while_the_bench_went_on_is_read(bench: Any) -> None:
    made = settled_but_for_the_rest(bench)
    made.read(*HEIGHTS, minutes=120.0)
    plan = made.plan()
    (step,) = [step for step in plan["steps"] if step["do_now"]]
    assert step["what"].startswith("Read relief")
    assert [each["quantity"] for each in step["readings_next"]] == ["relief"]
    assert (plan["rest_until"], plan["settle_for"], plan["read_after_rest"]) == (None, None, [])


@pytest.mark.parametrize("minutes, rest", [(90, 90), (30, 60)])
def test_a_shop_may_let_necks_rest_otherwise_but_an_hour_at_the_least(
    bench: Any, client: Client, minutes: int, rest: int
) -> None:
    made = settled_but_for_the_rest(bench)
    shop = client.get("/v1/shop").get_json()
    assert shop["settle_first_minutes"] == 120
    changed = client.patch("/v1/shop", json={"settle_first_minutes": minutes}, etag=f'"{shop["version"]}.mm"')
    assert changed.status_code == 200
    turned = made.shop.clock.now() - timedelta(minutes=10)
    assert datetime.fromisoformat(made.plan()["rest_until"]) == turned + timedelta(minutes=rest)


# ---------------------------------------------------------------- what tools will show


def test_a_tool_shows_less_at_once_than_the_neck_comes_to_at_rest(bench: Any) -> None:
    made = bench(relief(0.45), *HEIGHTS)
    step = made.step("relief")
    (wanted,) = step["readings_next"]
    shown, rests = wanted["expected_now"], step["changes"][0]["after"]["value"]
    # a quarter turn of 0.40 mm a turn, 0.08 turn of it lost, 60 % at once (judgement)
    assert shown["value"]["value"] == pytest.approx(0.45 - 0.17 * 0.40 * 0.6, abs=0.002)
    assert rests == pytest.approx(0.35, abs=0.005)
    assert 0.03 < shown["uncertainty"]["value"] < 0.08


def test_what_a_bridge_brings_is_expected_at_once(bench: Any) -> None:
    made = bench(relief(0.20), *sides("action", 2.3, 2.0, DEPTH, fret=12), *HEIGHTS[2:])
    step = made.step("action")
    shown = {
        (each["quantity"], each["side"]): each["expected_now"]["value"]["value"]
        for each in step["readings_next"]
    }
    for change in step["changes"] + step["forecasts"]:
        assert shown[change["quantity"], change["side"]] == pytest.approx(change["after"]["value"], abs=0.02)


def test_only_what_is_done_now_is_expected(bench: Any) -> None:
    plan = bench(relief(0.45), *sides("action", 2.3, 2.0, DEPTH, fret=12), *HEIGHTS[2:]).plan()
    for step in plan["steps"]:
        for wanted in step["readings_next"]:
            assert (wanted["expected_now"] is not None) == (step["do_now"] and step["changes_instrument"])


# ---------------------------------------------------------------- what does not fit


def test_a_sheet_says_at_once_what_does_not_fit_and_is_kept(bench: Any) -> None:
    made = bench(relief(0.60), *HEIGHTS)
    made.tighten()
    assert made.read(relief(0.54))["surprises"] == []
    made.tighten()
    posted = made.read(relief(0.04))
    (found,) = posted["surprises"]
    assert found["reading"] == {"sheet_id": posted["id"], "number": 0}
    assert found["value"] == {"value": 0.04, "unit": "mm"}
    assert 0.40 < found["expected"]["value"]["value"] < 0.54
    assert found["other"]["value"]["value"] == 0.54
    assert found["meant"]["code"] == "unit"
    assert found["meant"]["value"]["value"] == pytest.approx(0.40)
    assert found["open"]
    assert sum(slip["probability"] for slip in found["slips"]) == pytest.approx(1.0, abs=0.001)
    assert {slip["code"] for slip in found["slips"]} == {"this-reading", "other-reading", "moved", "nothing"}
    kept = made.shop.bench.get(f"/v1/jobs/{made.shop.job['id']}/reading-sheets/{posted['id']}").get_json()
    assert kept["readings"] == posted["readings"]
    plan = made.plan()
    assert plan["surprises"] == posted["surprises"]
    assert plan["steps"][0]["why"] == found["text"]
    assert "0.04 mm where about 0.4" in found["text"]
    assert "0.54 mm before it" in found["text"]
    assert [step["kind"] for step in plan["steps"] if step["do_now"]] == ["read-again"]


def test_the_same_sheet_again_says_the_same(bench: Any) -> None:
    made = bench(relief(0.35), *HEIGHTS)
    path, tool = f"/v1/jobs/{made.shop.job['id']}/reading-sheets", made.shop.tools[FEELERS["tool"]]
    body = sheet([{"quantity": "relief", "value": mm(0.80), "tool_id": tool}], taken_at=made.later())
    first = told(made.shop.bench.post(path, json=body), 201)["surprises"]
    assert len(first) == 1
    assert told(made.shop.bench.post(path, json=body))["surprises"] == first


@pytest.mark.parametrize(
    "before, after, code, meant",
    [
        (sides("action", 2.2, 1.5, DEPTH, fret=12), sides("action", 1.5, 2.2, DEPTH, fret=12), "string", 1.5),
        ([relief(0.35)], [relief(0.53)], "digit", 0.35),
        (sides("action", 2.0, 1.5, DEPTH), sides("action", 5.0, 1.5, DEPTH), "unit", 5.0 * 25.4 / 64),
        ([relief(0.50)], [relief(0.20)], "unit", 0.20 * 2.54),
        ([relief(0.35)], [relief(0.60)], None, None),
    ],
    ids=[
        "the other side",
        "two digits swapped",
        "64ths of an inch",
        "thousandths of an inch",
        "no slip explains it",
    ],
)
def test_the_likeliest_slip_is_named(
    bench: Any, before: list[Plain], after: list[Plain], code: str | None, meant: float | None
) -> None:
    quantity = before[0]["quantity"]
    rest = [each for each in [relief(0.35), *HEIGHTS] if each["quantity"] != quantity]
    made = bench(*before, *rest)
    found = made.read(*after)["surprises"][0]
    assert (found["meant"] or {}).get("code") == code
    if meant is not None:
        assert found["meant"]["value"]["value"] == pytest.approx(meant, abs=0.03)


def test_what_was_set_aside_is_named(bench: Any) -> None:
    made = bench(relief(1.15))
    made.read(relief(0.10))
    made.read(relief(0.10))
    (found,) = made.plan()["surprises"]
    assert not found["open"]
    assert found["set_aside"] == found["other"]["reading"]
    assert found["other"]["value"]["value"] == 1.15
    assert "the earlier reading is wrong" in found["text"]


# ---------------------------------------------------------------- a second look


def test_a_surprise_that_is_confirmed_is_not_asked_again(bench: Any) -> None:
    made = bench(relief(0.60), *HEIGHTS)
    for value in (0.50, 0.40):
        made.tighten()
        made.read(relief(value))
    made.tighten()
    (found,) = made.read(relief(0.45, confirmed=True))["surprises"]
    assert not found["open"]
    assert found["slips"][0]["probability"] == 0.0  # it is not suspected itself
    assert made.now()[0]["kind"] == "relief"


def test_what_was_looked_at_twice_may_be_filed(bench: Any) -> None:
    high = sides("nut-action", 0.85, 0.35, DEPTH)
    made = bench(relief(0.20), *HEIGHTS[:2], *high, consents=[{"given": True, "steps": []}])
    assert "read-once" in {block["code"] for block in made.step("nut")["blocked_by"]}
    assert made.now()[0]["kind"] == "read-again"
    made.read(high[0] | {"confirmed": True})
    step = made.step("nut")
    assert (step["do_now"], step["blocked_by"]) == (True, [])


def test_one_confirmed_look_counts_as_two(bench: Any) -> None:
    high = sides("nut-action", 0.85, 0.35, DEPTH, confirmed=True)
    made = bench(relief(0.20), *HEIGHTS[:2], *high, consents=[{"given": True, "steps": []}])
    step = made.step("nut")
    assert (step["do_now"], step["blocked_by"]) == (True, [])


# ---------------------------------------------------------------- readings against each other


def test_a_pair_that_cannot_be_true_is_read_again_before_any_step(bench: Any) -> None:
    made = bench(
        relief(0.20), *sides("action", 0.7, 1.5, DEPTH, fret=12), *sides("nut-action", 0.80, 0.35, DEPTH)
    )
    (step,) = made.now()
    assert step["kind"] == "read-again"
    assert {each["quantity"] for each in step["readings_next"]} == {"relief", "action", "nut-action"}
    assert "action 0.70 mm and nut action 0.80 mm do not fit" in step["why"]
    (found,) = made.plan()["surprises"]
    assert (found["quantity"], found["other"]["quantity"]) == ("action", "nut-action")
    assert found["expected"] is None
    assert found["slips"][0]["probability"] > 0.5


def test_a_pair_that_was_confirmed_is_believed(bench: Any) -> None:
    made = bench(
        relief(0.20, confirmed=True),
        *sides("action", 0.7, 1.5, DEPTH, fret=12, confirmed=True),
        *sides("nut-action", 0.80, 0.35, DEPTH, confirmed=True),
        consents=[{"given": True, "steps": []}],
    )
    assert made.plan()["surprises"] == []
    assert made.now()[0]["kind"] == "nut"


def test_three_that_cannot_all_be_true_on_two_sheets_name_the_two(bench: Any) -> None:
    made = bench(*HEIGHTS)
    body = sheet([{"quantity": "relief", "value": mm(1.60)}], taken_at=made.later())
    path = f"/v1/jobs/{made.shop.job['id']}/reading-sheets"
    bass, treble = told(made.shop.bench.post(path, json=body), 201)["surprises"]
    assert (bass["quantity"], bass["other"]["quantity"]) == ("relief", "action")
    assert bass["text"].startswith("bass side: relief 1.60 mm and action 1.70 mm do not fit: the saddle")
    assert treble["text"].startswith("treble side: relief 1.60 mm")
    (step,) = made.now()
    assert step["why"] == bass["text"]
    assert {each["side"] for each in step["readings_next"]} == {None, "bass"}


# ---------------------------------------------------------------- what is left, and what it is worth


def test_a_step_says_what_it_saves_and_what_it_costs(bench: Any) -> None:
    made = bench(relief(0.45), *HEIGHTS)
    worth = made.step("relief")["worth"]
    assert worth["saves"]["value"] > worth["costs"]["value"] > 0.0
    assert worth["saves"]["unit"] == "min"
    assert all(step["worth"] is None for step in made.plan()["steps"] if step["kind"] == "measure")


def test_what_is_not_asked_is_named_with_its_chance(bench: Any) -> None:
    made = bench(relief(0.32), *sides("action", 1.8, 1.6, DEPTH, fret=12), *HEIGHTS[2:])
    made.tighten()
    made.read(relief(0.22))
    plan = made.plan()
    assert [step["kind"] for step in plan["steps"] if step["do_now"]] == ["settle"]
    stale = [each for each in plan["verdicts"] if each["stale"]]
    assert {each["quantity"] for each in stale} == {"action", "nut-action"}
    not_asked = {(each["quantity"], each["side"]): each["probability"] for each in plan["not_asked"]}
    assert not_asked == {(each["quantity"], each["side"]): each["tomorrow"]["probability"] for each in stale}


# ---------------------------------------------------------------- no dead end without a word


def test_a_fixed_saddle_too_close_to_call_twice_ends_with_a_word(bench: Any) -> None:
    # a rule whose steps hide what a repeat could show
    rule = {"tool": "rule, halves of a mm", "resolution": 0.5, "repeatability": 0.01}
    close = sides("action", 2.5, 2.0, rule, fret=12)
    case = acoustic(4.6, 4.2)
    spec = [each for each in case["spec"] if each["quantity"] != "intonation"]
    rest = [
        read("relief", 0.16, DIAL, held=[1, 14], fret=7, method="string"),
        *sides("nut-action", 0.52, 0.43, DEPTH),
        *sides("saddle-out", 4.6, 4.2, DEPTH),
    ]
    made = bench(*rest, *close, case={**case, "spec": spec})
    made.read(*close)
    plan = made.plan()
    action = {each["side"]: each["verdict"] for each in plan["verdicts"] if each["quantity"] == "action"}
    assert set(action.values()) == {"too close to call"}
    assert [step["kind"] for step in plan["steps"] if step["do_now"]] == []
    (note,) = [note for note in plan["notes"] if note["code"] == "too-close"]
    assert note["text"].startswith("too close to call: action; ")
    assert note["text"].endswith("take a finer tool, or accept it with a note")
    assert {each["quantity"] for each in plan["not_asked"]} == {"action"}


def test_a_string_that_touches_is_read_with_a_straightedge_and_asked_no_more(bench: Any) -> None:
    touching = read("relief", None, FEELERS, held=[1, 22], fret=9, method="string", zero_or_less=True)
    made = bench(touching, *HEIGHTS)
    for _ in range(2):
        (step,) = made.now()
        (wanted,) = step["readings_next"]
        assert (wanted["quantity"], wanted["method"]) == ("relief", "straightedge")
        made.read(touching)
    made.read(read("relief", -0.10, FEELERS, held=[1, 22], fret=9, method="straightedge"))
    step = made.now()[0]
    assert step["moves"][0]["direction"] == "loosen"


def test_what_a_rod_still_does_is_forecast(bench: Any) -> None:
    made = bench(relief(0.60), *HEIGHTS)
    made.tighten()
    made.read(relief(0.53))
    found = next(each for each in made.plan()["verdicts"] if each["quantity"] == "relief")
    assert found["tomorrow"]["value"]["value"] < found["now"]["value"]["value"] - 0.01


@pytest.mark.parametrize("held, fret", [((1, 22), 9), ((1, 17), 7), ((1, 14), 6)])
def test_a_bend_asks_for_the_same_turns_at_any_hold_frets(
    bench: Any, held: tuple[int, int], fret: int
) -> None:
    # the same bend and the same limits, meant and read at other frets of an even bend
    factor = conversion(628.65, 16, ReliefPlace(held, fret), ReliefPlace((1, 22), 9))
    meant = [
        {**each, "held": list(held), "fret": fret}
        | {name: each[name] / factor for name in ("target", "lower", "upper")}
        if each["quantity"] == "relief"
        else each
        for each in TWO_POST_ELECTRIC["spec"]
    ]
    bent = read("relief", 0.45 / factor, FEELERS, held=list(held), fret=fret, method="string")
    (move,) = bench(bent, *HEIGHTS, spec=meant).step("relief")["moves"]
    assert move["total_turns"]["value"] == TWO_POST_ELECTRIC["expected"]["turns_in_all"]


# ---------------------------------------------------------------- bad heights of a floating bridge


@pytest.mark.parametrize("code", ["plate-tail-high", "plate-tail-low", "string-damaged"])
def test_a_floating_bridge_that_is_not_level_is_not_set_from_its_heights(bench: Any, code: str) -> None:
    made = bench(
        relief(0.20),
        *sides("action", 2.6, 2.3, DEPTH, fret=12),
        *sides("nut-action", 0.45, 0.36, DEPTH),
        case=FLOATING_TREMOLO,
        findings=[{"code": code}],
        wanted={},
    )
    moved = {move["part"] for step in made.plan()["steps"] for move in step["moves"]}
    assert not moved & {"bridge-post", "saddle-screw"}


# ---------------------------------------------------------------- the state


def test_the_state_comes_only_when_it_is_asked_for(bench: Any) -> None:
    made = bench(relief(0.45), *HEIGHTS)
    assert made.plan()["state"] is None
    plan = made.plan("?with=state")
    state = plan["state"]
    assert state["time"] == made.shop.clock.now().isoformat().replace("+00:00", "Z")
    numbers = {each["name"]: each for each in state["numbers"]}
    relief_now = next(each for each in plan["verdicts"] if each["quantity"] == "relief")["now"]
    assert numbers["relief"]["mean"] == pytest.approx(relief_now["value"]["value"], abs=0.001)
    assert numbers["relief"]["uncertainty"] == pytest.approx(relief_now["uncertainty"]["value"], abs=0.001)
    assert numbers["response at once"]["unit"] == "mm/turn"
    assert numbers["action, bass side"]["mean"] == pytest.approx(1.7)
    assert [len(row) for row in state["correlations"]] == list(range(len(state["numbers"])))
    assert all(-1.0 <= each <= 1.0 for row in state["correlations"] for each in row)


def test_nothing_else_can_be_asked_for(bench: Any) -> None:
    made = bench(relief(0.45), *HEIGHTS)
    refused = made.shop.bench.get(f"/v1/jobs/{made.shop.job['id']}/recommendation?with=all")
    assert refused.status_code == 422
    assert [each["pointer"] for each in refused.get_json()["errors"]] == ["/query/with"]
