"""Studies and daily checks of a shop's past, kept by the functions that keep those of a bench."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime, time, timedelta
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlalchemy import select
from sqlalchemy.orm import Session

from shimstock_server import learning
from shimstock_server.database.tables.shop import Bench, Technician, Tool
from shimstock_server.web.context import Actor

AT = time(9, 15)
"""When a bench reads its check piece, and a study begins."""


class Records:
    """What the benches of a past read beside their jobs."""

    def __init__(self, session: Session, zone: ZoneInfo, key_id: UUID) -> None:
        self.session, self.zone = session, zone
        self.today = session.info["now"].astimezone(zone).date()
        self.actor = Actor(key_id=key_id, name="records of the past", scope="manager")
        self.benches = list(session.scalars(select(Bench).order_by(Bench.created_at, Bench.id)))
        self.people = list(session.scalars(select(Technician).order_by(Technician.created_at, Technician.id)))
        self.tools = {row.name: row.id for row in session.scalars(select(Tool))}

    def study(self, told: Mapping[str, Any]) -> None:
        """Keep a study of all benches, reading by reading in its drawn order, and end it."""
        readers = [
            {
                "bench_id": str(bench.id),
                "technician_id": str(person.id),
                "tool_id": str(self.tools[told["tool"]]),
            }
            for bench, person in zip(self.benches, self.people, strict=False)
        ]
        wish = learning.StudyIn().load(
            {
                "name": told["name"], "quantity": told["quantity"], "trials": told["trials"],
                "pieces": [{"name": name} for name in told["pieces"]], "readers": readers,
                "seed": told["seed"],
            }
        )  # fmt: skip
        study = learning.begin_study(self.session, wish)
        begun = self._at(told["back"])
        for number, (piece, reader, trial) in enumerate(study.order, start=1):
            sent = {"value": told["values"][piece][reader][trial], "unit": "mm"}
            body = {
                "number": number,
                "value": sent,
                "taken_at": (begun + timedelta(minutes=number)).isoformat(),
            }
            learning.record_reading(
                self.session,
                study,
                learning.StudyReadingIn().load(body),
                learning.read_value(sent, study.quantity),
                fingerprint=_mark(study.id, number),
                actor=replace(self.actor, technician_id=self.people[reader].id),
                now=begun,
            )
        learning.end_study(
            self.session, study, abandon=False, as_it_stands=False, now=begun + timedelta(hours=2)
        )

    def check(self, told: Mapping[str, Any]) -> None:
        """Keep a check piece and its days."""
        bench, person = self.benches[told["bench"]], self.people[told["bench"]]
        stated = {"value": told["stated"], "unit": "mm"}
        wish = learning.CheckPieceIn().load(
            {
                "name": told["name"], "bench_id": str(bench.id), "quantity": told["quantity"],
                "tool_id": str(self.tools[told["tool"]]), "stated": stated,
                "repetitions": len(told["days"][0]) - 1,
            }
        )  # fmt: skip
        piece = learning.add_piece(self.session, wish, learning.read_value(stated, wish["quantity"]))
        for back, *shown in told["days"]:
            at = self._at(back)
            sent = [{"value": value, "unit": "mm"} for value in shown]
            body = learning.CheckReadingIn().load({"values": sent, "taken_at": at.isoformat()})
            learning.record_check(
                self.session,
                piece,
                [learning.read_value(each, piece.quantity) for each in sent],
                body,
                fingerprint=_mark(piece.id, back),
                actor=replace(self.actor, technician_id=person.id),
                now=at,
            )

    def _at(self, back: int) -> datetime:
        return datetime.combine(self.today - timedelta(days=back), AT, tzinfo=self.zone)


def _mark(of: UUID, number: int) -> str:
    return hashlib.sha256(f"{of}/{number}".encode()).hexdigest()
