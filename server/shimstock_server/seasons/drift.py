"""From watched quantities to arrays: what each answers to, and when each asks for a recheck."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from uuid import UUID

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import select
from sqlalchemy.orm import Session

from shimstock_calc.seasons import Watched
from shimstock_calc.sensitivity import RELIEF_PRIOR, SADDLE_PRIOR
from shimstock_server.database.tables.seasons import LearnedSensitivity
from shimstock_server.database.words import Movable, Quantity

from .baseline import Watch

COUPLING_SD = 0.3
"""Of the change of action per change of relief, which the neck's geometry gives only so well; judgement."""
PRIORS = {Movable.RELIEF: RELIEF_PRIOR, Movable.SADDLE: SADDLE_PRIOR}


@dataclass(frozen=True)
class Answering:
    """How strongly something answers moisture, and where that is known from.

    Attributes
    ----------
    mean, sd : float
        Per % MC [mm/% MC].
    level : str
        instrument, model, shop or prior.
    samples : int
        How many samples stand behind it at that level.
    """

    mean: float
    sd: float
    level: str
    samples: int


UNLEARNED = {moves: Answering(prior.mean, prior.sd, "prior", 0) for moves, prior in PRIORS.items()}


class Beliefs:
    """What is believed of every instrument: its own, else its model's, else the shop's, else the prior."""

    def __init__(self, learned: Mapping[tuple[Movable, str], Answering] | None = None) -> None:
        self._learned = learned or {}

    @classmethod
    def of(cls, session: Session) -> Beliefs:
        """Read what this shop has learned."""
        rows = session.scalars(select(LearnedSensitivity))
        return cls(
            {(row.moves, row.subject): Answering(row.mean, row.sd, row.level, row.samples) for row in rows}
        )

    def about(self, moves: Movable, instrument_id: UUID, model_id: UUID) -> Answering:
        """Return what is believed of one instrument."""
        for subject in (str(instrument_id), str(model_id), "shop"):
            found = self._learned.get((moves, subject))
            if found is not None:
                return found
        return UNLEARNED[moves]


def laid(watches: Sequence[Watch], beliefs: Beliefs, places: Mapping[str, int]) -> Watched:
    """Lay watched quantities out for the calculation.

    Parameters
    ----------
    watches : sequence of Watch
        At least one.
    beliefs : Beliefs
        How strongly each answers.
    places : mapping
        The row of each place among the years of moisture.
    """
    # without a top the neck stands in both places: nothing else must be seen to move
    tau = [(watch.neck_tau, watch.top_tau or watch.neck_tau) for watch in watches]
    known: dict[UUID, tuple[Answering, Answering]] = {}
    for watch in watches:
        if watch.instrument_id not in known:
            relief_of, saddle_of = (
                beliefs.about(moves, watch.instrument_id, watch.model_id)
                for moves in (Movable.RELIEF, Movable.SADDLE)
            )
            known[watch.instrument_id] = relief_of, saddle_of
    answers = [known[watch.instrument_id] for watch in watches]
    relief, saddle = (
        np.array([getattr(watch, name) for watch in watches]) for name in ("relief_factor", "saddle_factor")
    )
    mean = np.array([[one.mean for one in pair] for pair in answers])
    sd = np.array([[one.sd for one in pair] for pair in answers])
    rough = np.array([COUPLING_SD if watch.quantity is Quantity.ACTION else 0.0 for watch in watches])
    through_neck = np.sqrt((relief * sd[:, 0]) ** 2 + rough**2 * (mean[:, 0] ** 2 + sd[:, 0] ** 2))
    return Watched(
        value=[watch.value for watch in watches],
        uncertainty=[watch.uncertainty for watch in watches],
        lower=_limits(watches, "lower", -np.inf),
        upper=_limits(watches, "upper", np.inf),
        tau=np.array(tau, dtype=np.float64),
        sensitivity=np.stack([relief * mean[:, 0], saddle * mean[:, 1]], axis=1),
        sensitivity_sd=np.stack([through_neck, np.abs(saddle) * sd[:, 1]], axis=1),
        day_of_year=[watch.read_on.timetuple().tm_yday for watch in watches],
        place=[places[watch.place] for watch in watches],
    )


def _limits(watches: Sequence[Watch], name: str, none: float) -> NDArray[np.float64]:
    given = (getattr(watch, name) for watch in watches)
    return np.array([none if limit is None else limit for limit in given])
