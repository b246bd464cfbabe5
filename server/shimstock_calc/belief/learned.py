"""What jobs have taught: the message of each, and what they say together of shop, models and instruments."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Any, NamedTuple

import numpy as np

from .._checks import FloatArray
from ..errors import Contradiction
from ..plan.inputs import PlanInput
from ._small import (
    Matrix,
    Vector,
    from_triangle,
    inverse,
    minus,
    outer_square,
    plus,
    product,
    sandwich,
    scaled,
    shared,
    times,
)
from .responses import BLOCKS, Block, Message, at_neck, beginning, said
from .surprise import weigh

FREEDOM = 4.0
"""Degrees of freedom of the t about a model's mean, and about the shop's [-]; judgement."""

STATED_MEAN, STATED_SPREAD = 2.0, 4.0
"""How many models the stated mean counts for, and how many models or instruments the stated spreads
[-]; judgement."""

SPREAD_SHARE = 0.4
"""Share of the stated variance that lies between models, and between the instruments of one [-]; judgement.

What is left is the doubt about the shop's mean, half of the former.
"""

STEPS = 50
"""Steps of the iteration [-]."""

DOUBTED = 0.3
"""Weight below which an instrument is so unlike the others that a human should look [-]; judgement."""


def messages(plan_input: PlanInput) -> dict[str, Message]:
    """What a job's entries say of each block, beyond the stated prior.

    Parameters
    ----------
    plan_input : PlanInput
        The job: instrument, spec, readings, adjustments.

    Returns
    -------
    dict of str to Message
        By name of the block, at `neck_place`; blocks of which nothing was said are missing.

    Notes
    -----
    The entries are run once more under the stated prior, whatever the job itself began with, so that nothing
    is learned twice. Readings that are set aside take no part.
    """
    job = at_neck(plan_input)
    belief = weigh(job, closed=True).belief
    found = {}
    for name, prior in beginning(job.responses, belief.geometry).items():
        places = [belief.geometry.at(each) for each in BLOCKS[name]]
        mean = [float(belief.state.mean[place]) for place in places]
        spread = [[float(belief.state.covariance[i, j]) for j in places] for i in places]
        message = said(prior, Block(mean, spread))
        if message is not None:
            found[name] = message
    return found


class Row(NamedTuple):
    """A job's message and whose it is.

    Attributes
    ----------
    model, instrument, job : str
        Labels [-].
    message : Message
        What it says [1 / unit², 1 / unit].
    """

    model: str
    instrument: str
    job: str
    message: Message


@dataclass(frozen=True)
class Learned:
    """What is believed of a block.

    Attributes
    ----------
    block : Block
        Of an unknown instrument of the shop or of a model, or of one instrument [any unit].
    jobs : int
        How many jobs it was learned from [-].
    weight : float
        How much it counts among its kind, 1 = as one that is like the others [-].
    """

    block: Block
    jobs: int
    weight: float = 1.0


@dataclass(frozen=True)
class Pool:
    """What jobs say together of a block.

    Attributes
    ----------
    shop : Learned
        Of an instrument whose model was never seen.
    models : dict of str to Learned
        Of an instrument of that model that was never seen.
    instruments : dict of str to Learned
        Of that instrument.
    """

    shop: Learned
    models: dict[str, Learned]
    instruments: dict[str, Learned]


def pool(rows: Iterable[Row], stated: Block) -> Pool:
    """Pool the messages of many jobs: instruments about their model, models about the shop.

    Parameters
    ----------
    rows : iterable of Row
        In any order.
    stated : Block
        What is believed without them [any unit].

    Returns
    -------
    Pool
        Beliefs about shop, models and instruments.

    Raises
    ------
    Contradiction
        When an instrument stands under two models.

    Notes
    -----
    An instrument's messages add. Instruments lie about their model, and models about the shop, as a t with
    `FREEDOM` degrees of freedom, written as normals whose precisions are scaled by weights of their own, so
    that what is unlike the others counts little: K. L. Lange, R. J. A. Little & J. M. G. Taylor, *Robust
    statistical modeling using the t distribution*, J. Am. Stat. Assoc. 84, 881 (1989), from memory. Given
    weights and spreads the means are exact: information goes up the tree, and down again; then weights and
    spreads are worked out anew, `STEPS` times. The rows are sorted first: their order does not matter.
    """
    ordered = sorted(rows, key=lambda row: row[:3])
    if not ordered:
        return Pool(Learned(stated, 0), {}, {})
    owners = [(key, list(group)) for key, group in groupby(ordered, key=lambda row: row[:2])]
    names = [instrument for (_, instrument), _ in owners]
    if len(set(names)) < len(names):
        raise Contradiction("an instrument belongs to one model only", "models")
    labels = sorted({model for (model, _), _ in owners})
    place = {model: number for number, model in enumerate(labels)}
    model_of = np.array([place[model] for (model, _), _ in owners])
    jobs = np.array([len(group) for _, group in owners])
    precision = [_summed(group, "precision") for _, group in owners]
    pull = [_summed(group, "pull") for _, group in owners]
    tree = _Tree(
        from_triangle([np.array(each) for each in zip(*precision, strict=True)]),
        [np.array(each) for each in zip(*pull, strict=True)],
        model_of,
        stated,
    )
    for _ in range(STEPS):
        tree.step()
    per_model = np.bincount(model_of, weights=jobs)
    models, instruments = tree.models(), tree.instruments()
    return Pool(
        Learned(tree.shop(), len(ordered)),
        {
            name: Learned(_at(models, n), int(per_model[n]), float(tree.model_weights[n]))
            for n, name in enumerate(labels)
        },
        {
            name: Learned(_at(instruments, n), int(jobs[n]), float(tree.weights[n]))
            for n, name in enumerate(names)
        },
    )


def _summed(group: Sequence[Row], part: str) -> list[float]:
    return [sum(each) for each in zip(*(getattr(row.message, part) for row in group), strict=True)]


def _at(block: Block, number: int) -> Block:
    return Block(
        [float(each[number]) for each in block.mean],
        [[float(each[number]) for each in row] for row in block.covariance],
    )


def _map(change: Any, matrix: Matrix) -> Matrix:
    return [[change(each) for each in row] for row in matrix]


class _Level:
    """One step up the tree: many that lie about means of their own, each with what is known of it."""

    def __init__(self, precision: Matrix, pull: Vector, about: Matrix) -> None:
        """`about` is the precision with which each lies about its mean."""
        self.precision, self.pull, self.about = precision, pull, about
        self.left = inverse(plus(precision, about))
        """Covariance of each about its best value, its mean given."""
        self.up = minus(about, sandwich(about, self.left)), times(about, times(self.left, pull))
        """Information about the mean: precision, and precision times mean."""

    def departures(self, mean: Vector, spread: Matrix) -> tuple[Vector, Matrix]:
        """Expected departure of each from its mean, and the expected square of it."""
        own = times(self.precision, mean)
        away = times(self.left, [a - b for a, b in zip(self.pull, own, strict=True)])
        follows = product(self.left, self.precision)
        square = plus(plus(self.left, sandwich(follows, spread)), outer_square(away))
        return away, square

    def values(self, mean: Vector, spread: Matrix) -> Block:
        """What is believed of each."""
        drawn = times(self.about, mean)
        follows = product(self.left, self.about)
        return Block(
            times(self.left, [a + b for a, b in zip(self.pull, drawn, strict=True)]),
            plus(self.left, sandwich(follows, spread)),
        )


class _Tree:
    """Instruments, models and shop, with their weights and spreads."""

    def __init__(self, precision: Matrix, pull: Vector, model_of: Any, stated: Block) -> None:
        self.precision, self.pull, self.model_of, self.stated = precision, pull, model_of, stated
        self.counts = np.bincount(model_of).astype(np.float64)
        self.share = scaled(stated.covariance, SPREAD_SHARE)
        self.weights: FloatArray = np.ones(len(model_of))
        self.model_weights: FloatArray = np.ones(len(self.counts))
        self.within = _map(lambda each: np.full(len(self.counts), each), self.share)
        """Spread of a model's instruments."""
        self.between = self.share
        """Spread of the models."""
        self._means()

    def _of_each(self, values: Any) -> Any:
        return values[self.model_of]

    def _summed(self, values: Any) -> FloatArray:
        found: FloatArray = np.bincount(self.model_of, weights=values).astype(np.float64)
        return found

    def _means(self) -> None:
        """Carry information up to the shop's mean, and down again to every model's."""
        about = _map(self._of_each, inverse(self.within))
        self.low = _Level(self.precision, self.pull, scaled(about, self.weights))
        precision, pull = self.low.up
        around = inverse(self.between)
        self.high = _Level(
            _map(self._summed, precision),
            [self._summed(each) for each in pull],
            scaled(around, self.model_weights),
        )
        precision, pull = self.high.up
        held = scaled(around, STATED_MEAN)
        self.doubt = inverse(plus(held, _map(_total, precision)))
        drawn = zip(times(held, self.stated.mean), map(_total, pull), strict=True)
        self.mean = times(self.doubt, [a + b for a, b in drawn])
        self.middles = self.high.values(self.mean, self.doubt)

    def step(self) -> None:
        """Work out weights and spreads anew, then the means."""
        size = len(self.mean)
        _, square = self.high.departures(self.mean, self.doubt)
        self.model_weights = (FREEDOM + size) / (FREEDOM + shared(inverse(self.between), square))
        total = _map(_total, scaled(square, self.model_weights))
        known = STATED_SPREAD + len(self.counts)
        self.between = scaled(plus(scaled(self.share, STATED_SPREAD), total), 1.0 / known)
        mean, spread = self._middle_of_each()
        _, square = self.low.departures(mean, spread)
        about = _map(self._of_each, inverse(self.within))
        self.weights = (FREEDOM + size) / (FREEDOM + shared(about, square))
        sums = _map(self._summed, scaled(square, self.weights))
        stated = scaled(self.share, STATED_SPREAD)
        self.within = scaled(plus(stated, sums), 1.0 / (STATED_SPREAD + self.counts))
        self._means()

    def _middle_of_each(self) -> tuple[Vector, Matrix]:
        return [self._of_each(each) for each in self.middles.mean], _map(
            self._of_each, self.middles.covariance
        )

    def shop(self) -> Block:
        """What is believed of an instrument whose model was never seen."""
        usual = _map(lambda each: _total(each * self.counts), self.within)
        known = STATED_SPREAD + float(self.counts.sum())
        within = scaled(plus(scaled(self.share, STATED_SPREAD), usual), 1.0 / known)
        return Block(self.mean, plus(plus(self.doubt, self.between), within))

    def models(self) -> Block:
        """What is believed of an instrument of each model that was never seen."""
        return Block(self.middles.mean, plus(self.middles.covariance, self.within))

    def instruments(self) -> Block:
        """What is believed of each instrument."""
        return self.low.values(*self._middle_of_each())


def _total(values: Any) -> float:
    """Sum in the order given: the same digits wherever it is worked out."""
    return float(np.bincount(np.zeros(len(values), dtype=np.intp), weights=values)[0])
