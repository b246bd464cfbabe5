"""An area for the tests of what every endpoint shares: benches, told and changed in every way there is."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any
from uuid import UUID

from sqlalchemy import select

from shimstock_calc.errors import OutOfRange
from shimstock_server.database.history import emit
from shimstock_server.database.tables.shop import Bench
from shimstock_server.web.blueprint import Answer, Blueprint
from shimstock_server.web.context import current
from shimstock_server.web.etags import must_match
from shimstock_server.web.fields import Id, ListOf, Nested, StrictSchema, Text, Truth, Whole
from shimstock_server.web.paging import PageQuery, page, page_of
from shimstock_server.web.problems import Conflict
from shimstock_server.web.quantities import QuantityIn, QuantityOut
from shimstock_server.web.visibility import exists, visibility

probes = Blueprint("probes", "For the tests alone.")
blueprints = (probes,)

visibility("probe_id", exists(Bench.id))

meanwhile: list[Callable[[], None]] = []
"""What happens inside the next views, after their work and before their transaction ends."""


class NameTaken(Conflict):
    """Another probe has that name."""

    code = "probe-name-taken"
    title = "Name taken"


class ProbePart(StrictSchema):
    """A part of a probe."""

    relief = QuantityIn("relief", min=-2, max=5)


class ProbeIn(StrictSchema):
    """A probe to make."""

    name = Text(max=40, required=True)
    parts = ListOf(Nested(ProbePart), load_default=list, max=3)
    active = Truth(load_default=True)


class ProbeChange(StrictSchema):
    """What to change of a probe."""

    name = Text(max=40)
    active = Truth()


class ProbeOut(StrictSchema):
    """A probe."""

    id = Id()
    name = Text()
    active = Truth()
    version = Whole()


class ProbeQuery(PageQuery):
    """Which probes."""

    active = Truth()
    names = ListOf(Text(), max=5)


class LengthQuery(StrictSchema):
    """A length in millimetres."""

    relief = Whole(required=True)


class LengthOut(StrictSchema):
    """The same as a quantity."""

    relief = QuantityOut("relief")


@probes.operation("GET", "/probes", scopes=("bench", "manager"), query=ProbeQuery, answer=page_of(ProbeOut))
def list_probes(query: dict[str, Any]) -> Answer:
    """List the probes by name."""
    statement = select(Bench)
    if "active" in query:
        statement = statement.where(Bench.active == query["active"])
    if "names" in query:
        statement = statement.where(Bench.name.in_(query["names"]))
    return page(statement, query, sort=(Bench.name, Bench.id))


@probes.operation(
    "POST",
    "/probes",
    scopes=("bench", "manager"),
    body=ProbeIn,
    answer=ProbeOut,
    status=201,
    writes=True,
    creates="key",
    conflicts=(NameTaken,),
)
def make_probe(body: dict[str, Any]) -> Answer:
    """Make a probe."""
    session = current.session
    if session.scalar(select(Bench.id).where(Bench.name == body["name"])) is not None:
        raise NameTaken()
    probe = Bench(name=body["name"], active=body["active"], skills=[])
    session.add(probe)
    session.flush()
    emit(session, "probe.made", probe)
    for happens in meanwhile:
        happens()
    return Answer(probe, location=f"/v1/probes/{probe.id}")


@probes.operation("GET", "/probes/<uuid:probe_id>", scopes=("bench", "manager"), answer=ProbeOut)
def show_probe(probe_id: UUID) -> Bench:
    """Show a probe."""
    return current.session.get_one(Bench, probe_id)


@probes.operation(
    "PATCH",
    "/probes/<uuid:probe_id>",
    scopes=("bench", "manager"),
    body=ProbeChange,
    answer=ProbeOut,
    writes=True,
    edits=True,
)
def change_probe(probe_id: UUID, body: dict[str, Any]) -> Bench:
    """Change a probe."""
    probe = current.session.get_one(Bench, probe_id)
    must_match(probe)
    for name, value in body.items():
        setattr(probe, name, value)
    for happens in meanwhile:
        happens()
    return probe


@probes.operation(
    "DELETE", "/probes/<uuid:probe_id>", scopes=("manager",), status=204, writes=True, edits=True
)
def delete_probe(probe_id: UUID) -> None:
    """Delete a probe."""
    probe = current.session.get_one(Bench, probe_id)
    must_match(probe)
    current.session.delete(probe)


@probes.operation(
    "POST",
    "/probes/claims",
    scopes=(),
    answer=ProbeOut,
    also={204: None},
    writes=True,
    creates="key",
)
def claim_probe() -> Answer:
    """Take a probe that is inactive, if there is one."""
    probe = current.session.scalars(select(Bench).where(Bench.active.is_(False)).limit(1)).first()
    if probe is None:
        return Answer(status=204, keep=False)
    probe.active = True
    return Answer(probe)


@probes.operation("POST", "/probes/accidents", scopes=("manager",), body=ProbeIn, status=204, writes=True)
def have_an_accident(body: dict[str, Any]) -> None:
    """Make a probe and fail after that."""
    current.session.add(Bench(name=body["name"], active=True, skills=[]))
    current.session.flush()
    raise RuntimeError("secret detail of the inside")


@probes.operation("GET", "/probes/length", scopes=(), query=LengthQuery, answer=LengthOut)
def tell_length(query: dict[str, Any]) -> Answer:
    """Tell a length in the units asked for; beyond 100 it has none."""
    if query["relief"] > 100:
        raise OutOfRange("relief must be at most 100 mm", "relief")
    return Answer({"relief": float(query["relief"])}, digest=f"length-{query['relief']}")
