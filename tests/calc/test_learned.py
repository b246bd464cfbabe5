"""What jobs teach: the message of one, the pool of many, and what the next job begins with."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from shimstock_calc.belief import _small as small
from shimstock_calc.belief import learned
from shimstock_calc.belief.geometry import COMPLIANCE
from shimstock_calc.belief.learned import Row, messages, pool
from shimstock_calc.belief.responses import Block, Message, beginning, said, stated
from shimstock_calc.belief.update import Belief
from shimstock_calc.errors import Contradiction
from shimstock_calc.plan.build import make_plan
from shimstock_calc.plan.goals import Spot
from shimstock_calc.plan.inputs import Responses, RodResponse
from shimstock_calc.pooling import Prior, pool_nested
from shimstock_calc.relief import relief_conversion
from tests.calc.plan_inputs import plan_input
from tests.calc.plan_made import CASE, action, relief
from tests.depth import amount

ROD = stated()["rod"]


def turned(*reliefs, turns=0.25, rest=70.0, **changes):
    """A job: relief read, the rod turned, relief read again once the neck has rested, and so on."""
    readings = [
        relief(value, order=2 * place, at=(rest + 5.0) * place) for place, value in enumerate(reliefs)
    ]
    turned_between = [
        {"part": "truss-rod", "turns": turns, "order": 2 * place + 1, "at": (rest + 5.0) * place + 5.0}
        for place in range(len(reliefs) - 1)
    ]
    return plan_input(CASE, **{"readings": readings, "adjustments": turned_between, **changes})


def total(block):
    return sum(block.mean)


def spread(block):
    return math.sqrt(sum(map(sum, block.covariance)))


def alone(value, sd, size=1):
    """A message that says one value of the sum of a block's numbers and nothing of their parts."""
    one = 1.0 / sd**2
    return Message(tuple([one] * (size * (size + 1) // 2)), tuple([value * one] * size))


# ---------------------------------------------------------------- small matrices


SYMMETRIC = st.integers(1, 3).flatmap(
    lambda n: st.lists(st.floats(-5, 5), min_size=n * (n + 1) // 2, max_size=n * (n + 1) // 2)
)


@given(SYMMETRIC)
def test_eigenvalues_and_vectors_are_those_of_lapack(entries):
    # oracle: eigenvalues of numpy
    matrix = small.from_triangle(entries)
    values, vectors = small.eigen(matrix)
    assert sorted(values) == pytest.approx(list(np.linalg.eigvalsh(np.array(matrix))), abs=1e-9)
    rebuilt = sum(value * np.outer(vector, vector) for value, vector in zip(values, vectors, strict=True))
    assert np.array(matrix) == pytest.approx(rebuilt, abs=1e-9)


@given(SYMMETRIC)
def test_inverses_are_those_of_lapack_one_by_one_or_many_at_once(entries):
    # oracle: the inverse of numpy
    matrix = np.array(small.from_triangle(entries))
    sure = matrix @ matrix + np.eye(len(matrix))
    assert np.array(small.inverse(sure.tolist())) == pytest.approx(np.linalg.inv(sure), rel=1e-6, abs=1e-6)
    many = [[np.array([each, 2.0 * each]) for each in row] for row in sure]
    assert np.array(small.inverse(many))[:, :, 1] == pytest.approx(
        np.linalg.inv(sure) / 2, rel=1e-6, abs=1e-6
    )


# ---------------------------------------------------------------- a job's message


def test_a_job_without_a_turn_says_nothing():
    assert messages(turned(0.45)) == {}
    assert messages(turned(0.45, 0.44, turns=0.0)) == {}


def test_a_message_added_to_another_prior_is_the_belief_under_that_prior():
    # general reference: information of independent observations adds (linear normal model)
    other = Responses(rod=RodResponse(mean=-0.46, sd=0.12))
    job = turned(0.60, 0.49, 0.37)
    belief = Belief(replace(job, responses=other))
    prior = beginning(other, belief.geometry)["rod"]
    message = messages(job)["rod"]
    precision = small.plus(small.inverse(prior.covariance), small.from_triangle(message.precision))
    pull = [
        a + b
        for a, b in zip(small.times(small.inverse(prior.covariance), prior.mean), message.pull, strict=True)
    ]
    covariance = small.inverse(precision)
    found = Block(small.times(covariance, pull), covariance)
    expected = belief.response()
    # the noise of a turn grows with the response that is believed in: the two differ by that alone
    assert total(found) == pytest.approx(expected.mean, abs=0.01)
    assert spread(found) == pytest.approx(expected.spread, rel=0.1)


def test_what_a_job_began_with_does_not_change_what_it_says():
    job = turned(0.60, 0.47, 0.33)
    begun = replace(job, responses=Responses(rod=RodResponse(mean=-0.7, sd=0.05)))
    assert messages(begun) == messages(job)


@pytest.mark.parametrize("held, fret", [((1, 14), 7), ((2, 20), 9)])
def test_a_message_is_the_same_wherever_relief_was_read_and_meant(held, fret):
    factor = float(relief_conversion(628.65, 16, (1, 22), 9, to_held=held, to_fret=fret))
    spec = [
        {**each} if each["quantity"] != "relief" else {**each, "held": list(held), "fret": fret}
        for each in CASE["spec"]
    ]
    plain = [
        relief(value, order=2 * place, at=75.0 * place) for place, value in enumerate((0.60, 0.47, 0.33))
    ]
    elsewhere = [
        {
            **each, "value": each["value"] * factor, "held": list(held), "fret": fret,
            "resolution": each["resolution"] * factor, "repeatability": each["repeatability"] * factor,
        }
        for each in plain
    ]  # fmt: skip
    there = messages(turned(0.60, 0.47, 0.33, readings=elsewhere, spec=spec))["rod"]
    here = messages(turned(0.60, 0.47, 0.33, readings=plain))["rod"]
    assert there.precision == pytest.approx(here.precision, rel=1e-3)
    assert there.pull == pytest.approx(here.pull, rel=1e-3)


def test_a_reading_that_is_set_aside_says_nothing():
    def job(*first):
        values = [*first, 0.45, 0.45]
        readings = [relief(value, order=place, at=place) for place, value in enumerate(values)]
        readings.append(relief(0.34, order=10, at=90.0))
        one = [{"part": "truss-rod", "turns": 0.25, "order": 9, "at": 10.0}]
        return plan_input(CASE, readings=readings, adjustments=one)

    assert messages(job(1.45))["rod"].pull == pytest.approx(messages(job())["rod"].pull, rel=1e-9)


def test_a_reading_that_nothing_explains_teaches_little():
    plain, odd = messages(turned(0.45, 0.34))["rod"], messages(turned(0.45, 0.90))["rod"]
    assert odd.precision[0] < 0.2 * plain.precision[0]


def test_a_message_is_never_negative():
    assert said(ROD, Block(ROD.mean, small.scaled(ROD.covariance, 1.5))) is None
    wider = Block([0.0, 0.1], [[0.5, 0.0], [0.0, 2.0]])
    message = said(Block([0.0, 0.0], [[1.0, 0.0], [0.0, 1.0]]), wider)
    assert message.precision == pytest.approx((1.0, 0.0, 0.0))
    assert message.pull == pytest.approx((0.0, 0.0))


def restrung(change, before=0.20, after=0.30):
    readings = [relief(before, order=0, at=0.0), relief(after, order=2, at=90.0)]
    strings = [{"part": "strings", "order": 1, "at": 10.0, "pull_change": change}]
    return plan_input(CASE, readings=readings, adjustments=strings)


def test_new_strings_tell_how_far_relief_follows_their_pull():
    # prior: a beam estimate, uncertain by a factor 2 (M·l²/(8·E·I), from memory)
    belief = Belief(restrung(90.0))
    before = beginning(Responses(), belief.geometry)["compliance"]
    after = belief.number(COMPLIANCE)
    assert before.mean[0] == pytest.approx(1.1e-3, rel=0.1)
    assert after.spread < 0.9 * math.sqrt(before.covariance[0][0])
    assert belief.estimate(Spot("relief")).mean == pytest.approx(0.30, abs=0.02)
    stiff, soft = (messages(restrung(90.0, after=value))["compliance"] for value in (0.22, 0.38))
    assert stiff.pull[0] / stiff.precision[0] < 1.0e-3
    assert soft.pull[0] / soft.precision[0] > 1.5e-3


def test_after_new_strings_relief_is_read_before_anything_is_turned():
    # what is forecast of it decides nothing by itself
    readings = [relief(0.45, order=0, at=0.0), *[{**each, "order": 0} for each in action(2.2, 1.9)]]
    strings = [{"part": "strings", "order": 1, "at": 10.0, "pull_change": 82.0}]
    steps = make_plan(plan_input(CASE, readings=readings, adjustments=strings)).steps
    assert (steps[0].kind, steps[0].do_now) == ("measure", True)
    assert "relief" in {each.quantity for each in steps[0].readings_next}
    assert not any(each.do_now for each in steps if each.changes_instrument)


def test_new_strings_whose_pull_is_not_known_lose_relief():
    assert messages(restrung(None)) == {}
    assert Belief(replace(restrung(None), readings=restrung(None).readings[:1])).estimate(
        Spot("relief")
    ).spread == pytest.approx(100.0)


def test_action_that_follows_relief_further_than_the_geometry_says_is_learned():
    def job(by):
        readings = [relief(0.60, order=0), *[{**each, "order": 1} for each in action(2.2, 1.9)]]
        readings += [relief(0.39, order=3, at=90.0)]
        readings += [{**each, "order": 4, "at": 91.0} for each in action(2.2 + by, 1.9 + by)]
        return plan_input(
            CASE, readings=readings, adjustments=[{"part": "truss-rod", "turns": 0.5, "order": 2}]
        )

    # geometry: 1.67 mm of action per mm of relief (case 1 of the acceptance cases)
    less, more = (messages(job(-0.21 * each))["coupling"] for each in (1.3, 2.1))
    assert less.pull[0] / less.precision[0] < 0.0 < more.pull[0] / more.precision[0]


# ---------------------------------------------------------------- the pool


def rows(values, sd=0.1, model="kind", size=3):
    return [Row(model, f"{model}{n}", f"job {n}", alone(value, sd, size)) for n, value in enumerate(values)]


def test_without_messages_the_stated_prior_stands():
    found = pool([], ROD)
    assert (found.shop.block, found.models, found.instruments) == (ROD, {}, {})
    assert total(ROD) == pytest.approx(-0.40)
    assert spread(ROD) == pytest.approx(0.16)


def test_messages_that_say_nothing_leave_the_stated_prior():
    found = pool(rows([-0.9] * 3, sd=1e4), ROD)
    for each in (found.shop, found.models["kind"], found.instruments["kind0"]):
        assert total(each.block) == pytest.approx(-0.40, abs=1e-6)
        assert spread(each.block) == pytest.approx(0.16, abs=1e-4)


@pytest.mark.parametrize("turns, reached", [(1, -0.75), (3, -0.85)])
def test_eight_alike_bring_the_model_most_of_the_way(turns, reached):
    """Rods that give 0.85 mm a turn, read with feelers: a gate used to leave them out, and left -0.40."""
    lost = 0.08  # turn, before anything moves
    values = [1.10 - 0.85 * max(0.25 * place - lost, 0.0) for place in range(turns + 1)]
    job = messages(turned(*values, rest=24 * 60.0))["rod"]
    found = pool([Row("kind", str(n), str(n), job) for n in range(8)], ROD).models["kind"].block
    assert total(found) == pytest.approx(reached, abs=0.05)
    assert spread(found) < 0.16


def test_the_pool_is_the_full_multivariate_normal_when_all_weigh_alike(monkeypatch):
    # oracle: conditional mean and covariance of a multivariate normal, by linear algebra on the whole matrix
    monkeypatch.setattr(learned, "STEPS", 0)
    rng = np.random.default_rng(3)
    names, models = ["a1", "a2", "a3", "b1", "c1", "c2"], ["a", "a", "a", "b", "c", "c"]
    own, messages_of = [], []
    for _ in names:
        root = rng.normal(size=(3, 3))
        precision = root @ root.T * 30.0
        value = rng.normal(-0.15, 0.1, 3)
        own.append((precision, value))
        messages_of.append(
            Message(tuple(small.triangle(precision.tolist())), tuple((precision @ value).tolist()))
        )
    found = pool(
        [Row(model, name, name, each) for model, name, each in zip(models, names, messages_of, strict=True)],
        ROD,
    )
    S = np.array(ROD.covariance)
    every, kinds = [*names, "a9", "z9"], [*models, "a", "z"]
    same_model, same = np.equal.outer(kinds, kinds), np.equal.outer(every, every)
    prior = np.kron(0.2 + 0.4 * same_model + 0.4 * same, S)
    noise = np.zeros((18, 18))
    for n, (precision, _) in enumerate(own):
        noise[3 * n : 3 * n + 3, 3 * n : 3 * n + 3] = np.linalg.inv(precision)
    gain = prior[:, :18] @ np.linalg.inv(prior[:18, :18] + noise)
    seen = np.concatenate([value for _, value in own]) - np.tile(ROD.mean, 6)
    mean = np.tile(ROD.mean, 8) + gain @ seen
    covariance = prior - gain @ prior[:18]
    told = [found.instruments[name] for name in names] + [found.models["a"], found.shop]
    for n, each in enumerate(told):
        place = slice(3 * n, 3 * n + 3)
        assert each.block.mean == pytest.approx(mean[place], abs=1e-9)
        assert np.array(each.block.covariance) == pytest.approx(covariance[place, place], abs=1e-9)


def test_location_and_scale_are_those_of_the_t_distribution():
    # oracle: maximum likelihood of the t with 4 degrees of freedom, scipy.stats.t.fit
    rng = np.random.default_rng(8)
    values = -0.4 + 0.1 * rng.standard_t(4, 4000)
    found = pool(rows(values, sd=1e-4, size=1), Block([-0.4], [[0.0256]]))
    _, location, scale = stats.t.fit(values, fdf=4)
    block = found.models["kind"].block
    assert block.mean[0] == pytest.approx(location, abs=1e-4)
    assert spread(block) == pytest.approx(scale, rel=5e-3)


@pytest.mark.parametrize("share", [0.1, 0.2])
def test_outliers_cost_half_of_what_they_cost_a_normal_pool(share):
    """Simulated models of 12 rods; of some the rod was reversed, or a reading was of another instrument."""
    rng = np.random.default_rng(int(100 * share))
    normal, robust = [], []
    for _ in range(40):
        truth = rng.normal(-0.45, 0.06, 12)
        values = truth + rng.normal(0.0, 0.05, 12)
        odd = rng.random(12) < share
        values[odd] += rng.choice([-1.0, 1.0], odd.sum()) * rng.uniform(0.8, 1.6, odd.sum())
        nested = pool_nested(values, np.full(12, 0.05**2), list(range(12)), ["kind"] * 12, Prior(-0.40, 0.16))
        found = pool(rows(values, sd=0.05, size=1), Block([-0.40], [[0.0256]]))
        normal += [nested.of(None, "kind").mean + 0.45]
        robust += [found.models["kind"].block.mean[0] + 0.45]
    assert np.sqrt(np.mean(np.square(robust))) < 0.5 * np.sqrt(np.mean(np.square(normal)))


def test_one_that_is_unlike_the_others_weighs_little():
    found = pool(rows([-0.42, -0.38, -0.40, -0.44, -0.36, -0.41, 0.6], sd=0.05), ROD)
    weights = {name: each.weight for name, each in found.instruments.items()}
    assert weights["kind6"] < learned.DOUBTED
    assert min(weight for name, weight in weights.items() if name != "kind6") > 2 * learned.DOUBTED


@settings(max_examples=amount(10, deep=200))
@given(st.permutations(range(9)))
def test_the_order_of_rows_changes_no_digit(order):
    many = [*rows([-0.3, -0.5, -0.45, -0.9], model="a"), *rows([-0.6, -0.2, -0.35], model="b")]
    many += [Row("a", "a1", "again", alone(-0.6, 0.1, 3)), Row("b", "b0", "again", alone(-0.4, 0.2, 3))]
    assert pool([many[place] for place in order], ROD) == pool(many, ROD)


def test_an_instrument_of_two_models_is_refused():
    with pytest.raises(Contradiction) as caught:
        pool([Row("a", "one", "j1", alone(-0.4, 0.1, 3)), Row("b", "one", "j2", alone(-0.4, 0.1, 3))], ROD)
    assert caught.value.field == "models"


# ---------------------------------------------------------------- what the next job begins with


def test_the_learned_parts_are_what_a_job_begins_with():
    parts, covariance = (-0.30, -0.05, -0.02), (1e-3, 2e-4, 5e-4, 1e-4, 0.0, 4e-4)
    rod = RodResponse(-0.37, 0.05, 3, "learned", parts, covariance)
    told = Responses(rod, (0.2, -0.05), 0.1, 0.04, 0.8e-3, 0.1e-3)
    belief = Belief(replace(turned(0.45), responses=told))
    for name, block in beginning(told, belief.geometry).items():
        places = [belief.geometry.at(each) for each in learned.BLOCKS[name]]
        assert [float(belief.state.mean[place]) for place in places] == pytest.approx(block.mean)
    assert belief.response().mean == pytest.approx(-0.37)
    assert belief.response().spread == pytest.approx(math.sqrt(1e-3 + 5e-4 + 4e-4 + 2 * 3e-4))


@pytest.mark.parametrize("held, fret", [((1, 14), 7), ((2, 20), 9), ((1, 12), 5)])
def test_the_same_bend_asks_for_the_same_turns_wherever_its_target_is_meant(held, fret):
    factor = float(relief_conversion(628.65, 16, (1, 22), 9, to_held=held, to_fret=fret))

    def turns(job):
        (step,) = [each for each in make_plan(job).steps if each.kind == "relief"]
        return step.moves[0].wanted

    def meant(each):
        limits = {name: each[name] * factor for name in ("target", "lower", "upper")}
        return {**each, **limits, "held": list(held), "fret": fret}

    spec = [meant(each) if each["quantity"] == "relief" else each for each in CASE["spec"]]
    assert turns(turned(0.60, spec=spec)) == pytest.approx(turns(turned(0.60)), rel=0.02)
