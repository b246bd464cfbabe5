"""Technicians, benches and tools."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from datetime import date, datetime
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session
from sqlalchemy.orm.attributes import flag_modified

from shimstock_server.database.tables.shop import Bench, Technician, TechnicianSkill, Tool
from shimstock_server.database.words import Skill
from shimstock_server.web.problems import InvalidFields
from shimstock_server.web.quantities import KINDS, Quantity
from shimstock_server.web.typed import kept

from .hours import local_day
from .problems import NameInUse
from .record import find, hours_errors

SIZES = ("resolution", "pitch-offset", "share")
"""Kinds of quantity in which a tool's resolution can be told."""

OTHER_QUANTITIES = {"radius": "mm", "pitch": "cents", "relative-humidity": "percent"}
"""What a bench measures besides what a setup spec can ask for, and in which unit."""


Follow = Callable[[Session, Technician, date], None]
"""Hears that a technician works at other times: `follow(session, technician, today)`."""

_followers: list[Follow] = []


def on_roster(follow: Follow) -> Follow:
    """Register what an area does when a technician has other shifts, or leaves, in the same transaction."""
    if follow not in _followers:
        _followers.append(follow)
    return follow


def add_technician(session: Session, body: Mapping[str, Any]) -> Technician:
    """Add a technician with skills and shifts."""
    _check_shifts(body)
    _check_name(session, Technician, body["name"])
    row = Technician(name=body["name"], active=body["active"], shifts=list(body["shifts"]))
    row.skills = [TechnicianSkill(skill=skill) for skill in body["skills"]]
    session.add(row)
    session.flush()
    return row


def change_technician(
    session: Session, row: Technician, body: Mapping[str, Any], *, now: datetime
) -> Technician:
    """Change a technician; lists are replaced whole."""
    _check_shifts(body)
    if body.get("name", row.name) != row.name:
        _check_name(session, Technician, body["name"])
    for field in ("name", "active", "shifts"):
        if field in body:
            setattr(row, field, body[field])
    if "skills" in body:
        _store_skills(row, body["skills"])
    session.flush()
    if ("shifts" in body or "active" in body) and find(session) is not None:
        for follow in _followers:
            follow(session, row, local_day(session, now))
    return row


def _store_skills(row: Technician, skills: Iterable[Skill]) -> None:
    """Keep the rows that stay as they are; a change of skills is a new version of the technician."""
    wanted = set(skills)
    present = {each.skill: each for each in row.skills}
    if set(present) == wanted:
        return
    for skill, each in present.items():
        if skill not in wanted:
            row.skills.remove(each)
    row.skills += [TechnicianSkill(skill=skill) for skill in sorted(wanted - set(present))]
    flag_modified(row, "name")


def _check_shifts(body: Mapping[str, Any]) -> None:
    shifts = [(shift["weekday"], shift["starts"], shift["ends"]) for shift in body.get("shifts", [])]
    errors = hours_errors(shifts, "/shifts", ("starts", "ends"))
    if errors:
        raise InvalidFields.of(errors)


def add_bench(session: Session, body: Mapping[str, Any]) -> Bench:
    """Add a bench."""
    _check_name(session, Bench, body["name"])
    row = Bench(name=body["name"], active=body["active"], skills=[skill.value for skill in body["skills"]])
    session.add(row)
    session.flush()
    return row


def change_bench(session: Session, row: Bench, body: Mapping[str, Any]) -> Bench:
    """Change a bench."""
    if body.get("name", row.name) != row.name:
        _check_name(session, Bench, body["name"])
    for field in ("name", "active"):
        if field in body:
            setattr(row, field, body[field])
    if "skills" in body:
        row.skills = [skill.value for skill in body["skills"]]
    session.flush()
    return row


def add_tool(session: Session, body: Mapping[str, Any]) -> Tool:
    """Add a measuring tool: what one reading of it is worth."""
    row = Tool()
    _check_tool(session, body)
    _check_name(session, Tool, body["name"])
    _store_tool(row, body)
    session.add(row)
    session.flush()
    return row


def change_tool(session: Session, row: Tool, body: Mapping[str, Any]) -> Tool:
    """Change a tool; readings that were taken with it keep what it was worth then."""
    present = {
        "quantities": row.quantities,
        "resolution": row.unit,
        "repeatability": None if row.repeatability is None else row.unit,
        "bench_id": row.bench_id,
    }
    _check_tool(session, {**present, **body})
    if body.get("name", row.name) != row.name:
        _check_name(session, Tool, body["name"])
    _store_tool(row, body)
    session.flush()
    return row


def _store_tool(row: Tool, body: Mapping[str, Any]) -> None:
    for field in ("name", "bench_id", "checked_at", "active"):
        if field in body:
            setattr(row, field, body[field])
    if "quantities" in body:
        row.quantities = list(body["quantities"])
    _, typed = kept(body)
    if "resolution" in body:
        row.resolution, row.resolution_typed = body["resolution"].value, typed["resolution"]
        row.unit = told_in(body["resolution"])
    if "repeatability" in body:
        sent = body["repeatability"]
        row.repeatability = None if sent is None else sent.value
        row.repeatability_typed = typed.get("repeatability")


def told_in(size: Quantity | str) -> str:
    """Return the unit that a resolution is kept in: mm, cents or percent."""
    if isinstance(size, str):
        return size
    return next(str(KINDS[kind].unit) for kind in SIZES if size.typed_unit in KINDS[kind].accepted)


def _check_tool(session: Session, values: Mapping[str, Any]) -> None:
    """Refuse a tool whose resolution, repeatability and quantities are not of one unit."""
    errors: dict[str, str] = {}
    unit = told_in(values["resolution"])
    if values.get("repeatability") is not None and told_in(values["repeatability"]) != unit:
        errors["/repeatability/unit"] = f"must be of the same kind as the resolution: {unit}"
    for n, quantity in enumerate(values["quantities"]):
        wanted = unit_of(quantity)
        if wanted != unit:
            errors[f"/quantities/{n}"] = (
                f"{quantity} is read in {wanted}, this tool's resolution is in {unit}"
            )
    if values.get("bench_id") is not None and session.get(Bench, values["bench_id"]) is None:
        errors["/bench_id"] = "there is no bench with this id"
    if errors:
        raise InvalidFields.of(errors)


def unit_of(quantity: str) -> str:
    """Return the unit in which a quantity's tools are told: mm, cents or percent."""
    return OTHER_QUANTITIES.get(quantity) or str(KINDS[quantity].unit)


def _check_name(session: Session, table: type[Technician] | type[Bench] | type[Tool], name: str) -> None:
    if session.scalar(select(table.id).where(table.name == name)) is not None:
        raise NameInUse(
            f"There is {name!r} already.", errors=[{"pointer": "/name", "message": "is in use already"}]
        )


def technician_told(row: Technician) -> dict[str, Any]:
    """Return a technician as answered, the skills in the order of their list."""
    order = list(Skill)
    return {
        **_marks(row),
        "name": row.name,
        "active": row.active,
        "skills": sorted((each.skill for each in row.skills), key=order.index),
        "shifts": row.shifts,
    }


def tool_told(row: Tool) -> dict[str, Any]:
    """Return a tool as it is answered."""
    kind = next(kind for kind in SIZES if str(KINDS[kind].unit) == row.unit)
    typed = {"resolution": row.resolution_typed}
    if row.repeatability_typed is not None:
        typed["repeatability"] = row.repeatability_typed
    return {
        **_marks(row),
        "name": row.name,
        "quantities": row.quantities,
        "kind": kind,
        "resolution": row.resolution,
        "repeatability": row.repeatability,
        "typed": typed,
        "bench_id": row.bench_id,
        "checked_at": row.checked_at,
        "active": row.active,
    }


def _marks(row: Technician | Tool) -> dict[str, Any]:
    return {"id": row.id, "version": row.version, "created_at": row.created_at, "updated_at": row.updated_at}
