"""Tools of a bench that were out of their limits when their check piece was last read."""

from __future__ import annotations

from collections.abc import Collection
from datetime import date
from itertools import takewhile
from typing import Any
from uuid import UUID

from sqlalchemy import or_, select
from sqlalchemy.orm import Session

from shimstock_calc.check_pieces import IN_CONTROL
from shimstock_server.database.tables.learning import CheckPiece, CheckReading
from shimstock_server.database.tables.shop import Bench, Tool
from shimstock_server.database.words import Quantity
from shimstock_server.web.quantities import write

from .check_pieces import TOO_LITTLE, limits_of
from .kinds import KINDS

LOOKED_BACK = 100
"""Checks of a piece that are looked through for the first one that was out."""


def drifts_at(
    session: Session,
    bench_id: UUID | None,
    tools: Collection[UUID],
    quantities: Collection[Quantity],
    units: str,
) -> list[dict[str, Any]]:
    """Say which tools of a bench were out of their limits at their last check, by how much and since when.

    Parameters
    ----------
    tools : collection of UUID
        Those that were read with.
    quantities : collection of Quantity
        What was read: a check piece that names no tool speaks of its quantity.
    units : str
        Whether the words are in `mm` or in `inch`.
    """
    if bench_id is None:
        return []
    pieces = session.scalars(
        select(CheckPiece)
        .where(
            CheckPiece.bench_id == bench_id,
            CheckPiece.active,
            or_(
                CheckPiece.tool_id.in_(tools),
                CheckPiece.tool_id.is_(None) & CheckPiece.quantity.in_(quantities),
            ),
        )
        .order_by(CheckPiece.name, CheckPiece.id)
    )
    found = (_drift(session, piece, units) for piece in pieces)
    return [each for each in found if each is not None]


def _drift(session: Session, piece: CheckPiece, units: str) -> dict[str, Any] | None:
    wanted = [CheckReading.piece_id == piece.id]
    if piece.limits_from is not None:
        wanted.append(CheckReading.day >= piece.limits_from)
    checks = session.scalars(
        select(CheckReading)
        .where(*wanted)
        .order_by(CheckReading.taken_at.desc(), CheckReading.id.desc())
        .limit(LOOKED_BACK)
    )
    out = list(takewhile(lambda check: check.verdict not in (IN_CONTROL, TOO_LITTLE), checks))
    limits = limits_of(session, piece, before=out[0].taken_at) if out else None
    if limits is None:
        return None
    newest, reads = out[0], "reads" in out[0].verdict
    limit = limits.upper if newest.mean > limits.mean else limits.lower
    if not reads and limits.spread_upper is not None:
        limit = limits.spread_upper
    shown = {
        "kind": KINDS[piece.quantity.value],
        "check_piece_id": piece.id,
        "check_piece": piece.name,
        "tool_id": piece.tool_id,
        "tool": None if piece.tool_id is None else session.get_one(Tool, piece.tool_id).name,
        "quantity": piece.quantity,
        "verdict": newest.verdict,
        "mean": newest.mean,
        "deviation": newest.deviation,
        "limit": limit,
        "beyond": abs((newest.mean if reads else newest.deviation or 0.0) - limit),
        "since": out[-1].day,
        "checked_at": newest.taken_at,
    }
    bench = session.get_one(Bench, piece.bench_id).name
    return shown | {"text": _words(shown, bench, newest.day, units)}


def _words(shown: dict[str, Any], bench: str, day: date, units: str) -> str:
    mean, deviation, limit, beyond = (
        write(shown["kind"], shown[name] or 0.0, units) for name in ("mean", "deviation", "limit", "beyond")
    )
    way = "above" if shown["mean"] > shown["limit"] else "below"
    what = f'it read "{shown["check_piece"]}" as {mean}, {beyond} {way} its limit of {limit}'
    if "reads" not in shown["verdict"]:
        what = f'readings of "{shown["check_piece"]}" scattered by {deviation}, {beyond} more than {limit}'
    since = "" if shown["since"] == day else f", as at every check since {shown['since']}"
    return (
        f"{shown['tool'] or shown['quantity'].value.replace('-', ' ')} at {bench} was out of its limits at "
        f"its last check on {day}{since}: {what}. Check it on the piece again; if it stays out, use another "
        "tool and read this again."
    )
