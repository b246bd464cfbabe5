"""What can be booked."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from shimstock_server.database.history import emit
from shimstock_server.database.tables.booking import Service
from shimstock_server.shop import settings
from shimstock_server.web.context import Actor

from .problems import ServiceNameInUse

PLAIN = (
    "name", "description", "bench_minutes", "price", "price_from", "lead_days", "notice_minutes",
    "ahead_days", "step_minutes", "places", "places_per_day", "active",
)  # fmt: skip
LISTS = ("kinds", "skills")


def is_visible(session: Session, actor: Actor, service_id: UUID) -> bool:
    """Whether a key may see a service: a website only what can be booked."""
    active = session.scalar(select(Service.active).where(Service.id == service_id))
    return active is not None and (active or actor.scope != "booking")


def add_service(session: Session, body: Mapping[str, Any]) -> Service:
    """Add a service."""
    _check_name(session, body["name"])
    row = Service()
    _store(row, body)
    session.add(row)
    session.flush()
    emit(session, "service.created", row)
    return row


def change_service(session: Session, row: Service, body: Mapping[str, Any]) -> Service:
    """Change a service; what is booked stays as it was booked."""
    if body.get("name", row.name) != row.name:
        _check_name(session, body["name"])
    _store(row, body)
    session.flush()
    emit(session, "service.changed", row)
    return row


def _store(row: Service, body: Mapping[str, Any]) -> None:
    for name in PLAIN:
        if name in body:
            setattr(row, name, body[name])
    for name in LISTS:
        if name in body:
            setattr(row, name, [word.value for word in body[name]])


def _check_name(session: Session, name: str) -> None:
    if session.scalar(select(Service.id).where(Service.name == name)) is not None:
        raise ServiceNameInUse(errors=[{"pointer": "/name", "message": "is in use already"}])


def told(session: Session, row: Service) -> dict[str, Any]:
    """Return a service as it is answered."""
    return {
        "id": row.id,
        "version": row.version,
        "created_at": row.created_at,
        "updated_at": row.updated_at,
        **{name: getattr(row, name) for name in (*PLAIN, *LISTS)},
        "currency": settings(session).currency,
    }
