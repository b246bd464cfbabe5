"""How the benches stand: the newest study of each quantity, the checks of each bench."""

from __future__ import annotations

import statistics
from collections.abc import Sequence
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from shimstock_server.database.tables.learning import BenchRepeatability, CheckPiece, CheckReading, Study
from shimstock_server.database.tables.shop import Bench, Tool
from shimstock_server.database.words import Quantity, StudyState

from .check_pieces import show_check, show_piece
from .kinds import KINDS
from .studies import reader_names
from .study_findings import show_agreement

MOST_CHECKS = 100
"""Newest checks of a piece that a report tells."""


def newest_studies(session: Session, units: str) -> list[dict[str, Any]]:
    """Return what the newest ended study of each quantity says."""
    newest: dict[Quantity, Study] = {}
    for study in session.scalars(
        select(Study).where(Study.state == StudyState.ENDED).order_by(Study.ended_at, Study.id)
    ):
        newest[study.quantity] = study
    return [
        show_agreement(session, newest[quantity], units)
        | {
            "name": newest[quantity].name,
            "ended_at": newest[quantity].ended_at,
            "piece_names": [piece["name"] for piece in newest[quantity].pieces],
            "reader_names": reader_names(session, newest[quantity]),
        }
        for quantity in Quantity
        if quantity in newest
    ]


def bench_standings(session: Session) -> list[dict[str, Any]]:
    """Return the benches in use, or with checks, by name: how they repeat, and what their checks say."""
    tools = {tool.id: tool.name for tool in session.scalars(select(Tool))}
    return [
        _standing(session, bench, tools)
        for bench in session.scalars(select(Bench).where(Bench.active).order_by(Bench.name, Bench.id))
    ]


def _standing(session: Session, bench: Bench, tools: dict[Any, str]) -> dict[str, Any]:
    pieces = [
        show_piece(session, piece)
        for piece in session.scalars(
            select(CheckPiece)
            .where(CheckPiece.bench_id == bench.id, CheckPiece.active)
            .order_by(CheckPiece.name, CheckPiece.id)
        )
    ]
    days = [piece["newest"]["day"] for piece in pieces if piece["newest"] is not None]
    return {
        "bench_id": bench.id,
        "name": bench.name,
        "drifting": any(piece["drifting"] for piece in pieces),
        "checked_on": max(days, default=None),
        "pieces": pieces,
        "repeats": _repeats(session, bench, tools),
    }


def _repeats(session: Session, bench: Bench, tools: dict[Any, str]) -> list[dict[str, Any]]:
    """How well a bench repeats each quantity with each tool, the newest study of each."""
    found: dict[tuple[str, str], list[tuple[BenchRepeatability, str]]] = {}
    rows = session.execute(
        select(BenchRepeatability, Study.name)
        .join(Study, Study.id == BenchRepeatability.study_id)
        .where(BenchRepeatability.bench_id == bench.id)
        .order_by(BenchRepeatability.found_at.desc(), BenchRepeatability.study_id.desc())
    )
    for row, name in rows:
        tool = "" if row.tool_id is None else tools[row.tool_id]
        newest = found.setdefault((row.quantity.value, tool), [])
        if not newest or newest[0][0].study_id == row.study_id:
            newest.append((row, name))
    return [_repeat(quantity, tool, found[quantity, tool]) for quantity, tool in sorted(found)]


def _repeat(quantity: str, tool: str, rows: Sequence[tuple[BenchRepeatability, str]]) -> dict[str, Any]:
    """Several readers of one study at a bench count together."""
    first, name = rows[0]
    return {
        "kind": KINDS[quantity],
        "quantity": quantity,
        "tool": tool or None,
        "repeatability": statistics.fmean(row.repeatability**2 for row, _ in rows) ** 0.5,
        "difference": statistics.fmean(row.difference for row, _ in rows),
        "study": name,
        "found_at": first.found_at,
    }


def newest_checks(session: Session, piece_id: Any, quantity: Quantity) -> Sequence[dict[str, Any]]:
    """Return the newest checks of a piece, the oldest of them first."""
    rows = session.scalars(
        select(CheckReading)
        .where(CheckReading.piece_id == piece_id)
        .order_by(CheckReading.taken_at.desc(), CheckReading.id.desc())
        .limit(MOST_CHECKS)
    ).all()
    return [show_check(row, KINDS[quantity.value]) for row in reversed(rows)]
