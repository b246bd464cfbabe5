"""Check pieces: what a bench reads every day, and whether it still reads the same."""

from __future__ import annotations

import statistics
from collections.abc import Sequence
from datetime import datetime
from typing import Any

from sqlalchemy import func, or_, select
from sqlalchemy.orm import Session

from shimstock_calc.check_pieces import (
    IN_CONTROL,
    LEAST_HISTORY,
    ControlLimits,
    check_reading,
    control_limits,
)
from shimstock_server.database.tables.base import new_id
from shimstock_server.database.tables.learning import CheckPiece, CheckReading
from shimstock_server.database.tables.shop import Bench, Tool
from shimstock_server.shop import local_day
from shimstock_server.web.context import Actor
from shimstock_server.web.problems import InvalidFields
from shimstock_server.web.quantities import Quantity as Value

from .kinds import KINDS
from .problems import CheckPieceRetired

TOO_LITTLE = "too little history"
FALSE_ALARM = 0.01
"""Share of days on which a steady bench's spread is told to be too large; judgement: at the e-Handbook's 0.05
nobody would heed it any more."""

MOST_HISTORY = 50
"""Days from which limits are drawn, the first ones; then they stand, so that a bench that drifts slowly does
not take them along, until somebody has them drawn anew; judgement."""


def add_piece(session: Session, wish: dict[str, Any], stated: Value | None) -> CheckPiece:
    """Keep a check piece.

    Raises
    ------
    InvalidFields
        When the bench or the tool is not known, or the tool measures something else.
    """
    errors: dict[str, str] = {}
    bench = None if wish["bench_id"] is None else session.get(Bench, wish["bench_id"])
    if wish["bench_id"] is None:
        errors["/bench_id"] = "say which bench it belongs to: this key stands at none"
    elif bench is None:
        errors["/bench_id"] = "no bench of this shop has this id"
    elif not bench.active:
        errors["/bench_id"] = f"{bench.name} is no longer in use"
    if wish["tool_id"] is not None:
        tool = session.get(Tool, wish["tool_id"])
        if tool is None:
            errors["/tool_id"] = "no tool of this shop has this id"
        elif wish["quantity"].value not in tool.quantities:
            errors["/tool_id"] = f"{tool.name} does not measure {wish['quantity'].value.replace('-', ' ')}"
    if errors:
        raise InvalidFields.of(errors)
    piece = CheckPiece(
        name=wish["name"],
        bench_id=wish["bench_id"],
        quantity=wish["quantity"],
        tool_id=wish["tool_id"],
        stated=None if stated is None else stated.value,
        repetitions=wish["repetitions"],
        limits_from=None,
        active=True,
        note=wish["note"],
    )
    session.add(piece)
    session.flush()
    return piece


def record_check(
    session: Session,
    piece: CheckPiece,
    values: Sequence[Value],
    wish: dict[str, Any],
    *,
    fingerprint: str,
    actor: Actor,
    now: datetime,
) -> CheckReading:
    """Keep a day's check and judge it against what the bench read before.

    Raises
    ------
    CheckPieceRetired
        When another piece has replaced this one.
    InvalidFields
        When there are more or fewer readings than the piece asks for.
    """
    if not piece.active:
        raise CheckPieceRetired
    if len(values) != piece.repetitions:
        often = "once" if piece.repetitions == 1 else f"{piece.repetitions} times"
        raise InvalidFields.at("/values", f"this piece is read {often}; {len(values)} were given")
    taken_at = wish["taken_at"] or now
    read = [value.value for value in values]
    mean = statistics.fmean(read)
    deviation = statistics.stdev(read) if len(read) > 1 else None
    limits = limits_of(session, piece, before=taken_at)
    check = CheckReading(
        id=wish["id"] or new_id(),
        fingerprint=fingerprint,
        confirmed=wish["confirmed"],
        piece_id=piece.id,
        day=local_day(session, taken_at),
        taken_at=taken_at,
        values=read,
        typed=[{"value": value.typed_value, "unit": str(value.typed_unit)} for value in values],
        mean=mean,
        deviation=deviation,
        verdict=TOO_LITTLE if limits is None else check_reading(mean, limits, deviation),
        key_id=actor.key_id,
        technician_id=actor.technician_id,
        note=wish["note"],
    )
    session.add(check)
    session.flush()
    return check


def limits_of(session: Session, piece: CheckPiece, *, before: datetime | None = None) -> ControlLimits | None:
    """Draw a piece's limits from its checks so far; None while there are too few.

    Notes
    -----
    Of a day the first check counts, out or not: readings of one hour differ by less than those of two days,
    and limits from which days that were out were left out alarm too often. Days that were out count once the
    bench has read within its limits again, or the second day of a drift would pass. A slow drift does not
    take its limits along, since the first `MOST_HISTORY` days draw them.
    """
    history = history_of(session, piece, before=before)
    if len(history) < LEAST_HISTORY:
        return None
    tool = None if piece.tool_id is None else session.get_one(Tool, piece.tool_id)
    several = piece.repetitions > 1
    return control_limits(
        [check.mean for check in history],
        [check.deviation or 0.0 for check in history] if several else None,
        piece.repetitions,
        alpha=FALSE_ALARM,
        resolution=None if tool is None else tool.resolution,
        stated=piece.stated,
    )


def history_of(
    session: Session, piece: CheckPiece, *, before: datetime | None = None
) -> Sequence[CheckReading]:
    """Return the checks from which limits are drawn, the first first: one a day."""
    wanted = [CheckReading.piece_id == piece.id]
    if before is not None:
        wanted.append(CheckReading.taken_at < before)
    if piece.limits_from is not None:
        wanted.append(CheckReading.day >= piece.limits_from)
        # what was out on that day was read before the repair
        repaired = CheckReading.verdict.in_((IN_CONTROL, TOO_LITTLE))
        wanted.append(or_(CheckReading.day > piece.limits_from, repaired))
    place = (
        func.row_number()
        .over(partition_by=CheckReading.day, order_by=(CheckReading.taken_at, CheckReading.id))
        .label("place")
    )
    ranked = select(CheckReading.id, place).where(*wanted).subquery()
    first_ones = session.scalars(
        select(CheckReading)
        .join(ranked, ranked.c.id == CheckReading.id)
        .where(ranked.c.place == 1)
        .order_by(CheckReading.taken_at, CheckReading.id)
        .limit(MOST_HISTORY + 1)
    ).all()
    return _without_last_out(first_ones)[:MOST_HISTORY]


def _without_last_out(checks: Sequence[CheckReading]) -> Sequence[CheckReading]:
    """Leave out the last checks as far as all of them were out."""
    count = len(checks)
    while count and checks[count - 1].verdict not in (IN_CONTROL, TOO_LITTLE):
        count -= 1
    return checks[:count]


def newest_check(session: Session, piece: CheckPiece) -> CheckReading | None:
    """Return the newest check of a piece."""
    return session.scalar(
        select(CheckReading)
        .where(CheckReading.piece_id == piece.id)
        .order_by(CheckReading.taken_at.desc(), CheckReading.id.desc())
        .limit(1)
    )


def show_piece(session: Session, piece: CheckPiece) -> dict[str, Any]:
    """A check piece as it is answered, with its limits and where it stands."""
    names = (
        "id", "name", "bench_id", "quantity", "tool_id", "stated", "repetitions", "limits_from", "active",
        "note", "created_at", "updated_at", "version",
    )  # fmt: skip
    kind = KINDS[piece.quantity.value]
    limits, newest = limits_of(session, piece), newest_check(session, piece)
    days = limits.days if limits is not None else len(history_of(session, piece))
    return {name: getattr(piece, name) for name in names} | {
        "kind": kind,
        "limits": None if limits is None else _limits(limits, kind),
        "newest": None if newest is None else show_check(newest, kind),
        "drifting": _newest_is(newest, piece, "reads"),
        "repeats_badly": _newest_is(newest, piece, "repeats badly"),
        "days_to_limits": max(0, LEAST_HISTORY - days),
    }


def _newest_is(check: CheckReading | None, piece: CheckPiece, words: str) -> bool:
    """Whether the newest verdict says so; what was read before a repair says nothing now."""
    if check is None or (piece.limits_from is not None and check.day < piece.limits_from):
        return False
    return words in check.verdict


def _limits(limits: ControlLimits, kind: str) -> dict[str, Any]:
    names = (
        "mean",
        "lower",
        "upper",
        "mean_sd",
        "repetition_sd",
        "spread_upper",
        "days",
        "bias",
        "bias_uncertainty",
    )
    return {"kind": kind, "bias_probability": limits.bias_probability} | {
        name: getattr(limits, name) for name in names
    }


def show_check(check: CheckReading, kind: str) -> dict[str, Any]:
    """A check as it is answered."""
    names = ("id", "piece_id", "day", "taken_at", "mean", "deviation", "verdict", "technician_id", "note")
    return {name: getattr(check, name) for name in names} | {
        "kind": kind,
        "confirmed": bool(check.confirmed),
        "values": [{"kind": kind, "value": value} for value in check.values],
    }
