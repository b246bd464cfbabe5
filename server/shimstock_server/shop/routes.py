"""The addresses of the shop, its closures, technicians, benches and tools."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from sqlalchemy import select

from shimstock_server.database.tables.shop import Bench, Closure, Technician, Tool
from shimstock_server.web.blueprint import Answer, Blueprint
from shimstock_server.web.context import current
from shimstock_server.web.etags import must_match, require_if_match
from shimstock_server.web.paging import page, page_of
from shimstock_server.web.problems import PreconditionFailed, PreconditionRequired
from shimstock_server.web.visibility import exists, visibility

from . import people, record
from .hours import ShopNotSetUp, settings
from .problems import DayTaken, NameInUse, NoShopYet
from .schemas import (
    ActiveQuery,
    BenchChange,
    BenchIn,
    BenchOut,
    ClosureIn,
    ClosureOut,
    ClosureQuery,
    NewClosureOut,
    ShopChange,
    ShopIn,
    ShopOut,
    TechnicianChange,
    TechnicianIn,
    TechnicianOut,
    ToolChange,
    ToolIn,
    ToolOut,
)

shop = Blueprint("shop", "The shop itself: settings, opening hours, closures.")
staff = Blueprint("people and tools", "Technicians, benches and measuring tools.")

READERS = ("bench", "manager")
WRITERS = ("manager",)

visibility("closure_id", exists(Closure.id))
visibility("technician_id", exists(Technician.id))
visibility("bench_id", exists(Bench.id))
visibility("tool_id", exists(Tool.id))


@shop.operation("GET", "/shop", scopes=READERS, answer=ShopOut, conflicts=(NoShopYet,))
def show_shop() -> Answer:
    """Show the shop's settings, and where the minutes that its plans reckon with come from."""
    row = record.find(current.session)
    if row is None:
        raise NoShopYet()
    # what is learned changes without a new version of the settings
    return Answer(record.told(current.session, row), by_the_clock=True)


@shop.operation(
    "PUT",
    "/shop",
    scopes=WRITERS,
    body=ShopIn,
    answer=ShopOut,
    writes=True,
    conflicts=(PreconditionFailed, PreconditionRequired),
)
def put_shop(body: dict[str, Any]) -> dict[str, Any]:
    """Set the shop up, or replace all its settings; once it stands, If-Match is needed."""
    row = record.find(current.session)
    if row is not None:
        require_if_match()
        must_match(row)
    return record.told(current.session, record.set_up(current.session, body))


@shop.operation(
    "PATCH",
    "/shop",
    scopes=WRITERS,
    body=ShopChange,
    answer=ShopOut,
    writes=True,
    edits=True,
    conflicts=(ShopNotSetUp,),
)
def change_shop(body: dict[str, Any]) -> dict[str, Any]:
    """Change some of the shop's settings; prices not named stay, the opening hours are replaced whole."""
    must_match(settings(current.session))
    return record.told(current.session, record.change(current.session, body))


@shop.operation("GET", "/closures", scopes=READERS, query=ClosureQuery, answer=page_of(ClosureOut))
def list_closures(query: dict[str, Any]) -> Answer:
    """List the dated exceptions by day."""
    statement = select(Closure)
    if "first" in query:
        statement = statement.where(Closure.day >= query["first"])
    if "last" in query:
        statement = statement.where(Closure.day <= query["last"])
    return page(statement, query, sort=(Closure.day, Closure.id))


@shop.operation(
    "POST",
    "/closures",
    scopes=WRITERS,
    body=ClosureIn,
    answer=NewClosureOut,
    status=201,
    writes=True,
    creates="key",
    conflicts=(DayTaken,),
)
def add_closure(body: dict[str, Any]) -> Answer:
    """Add a day on which the shop is closed, or open at other hours. What is booked stays booked."""
    row = record.add_closure(current.session, body)
    return Answer(record.closure_told(current.session, row), location=f"/v1/closures/{row.id}")


@shop.operation("GET", "/closures/<uuid:closure_id>", scopes=READERS, answer=ClosureOut)
def show_closure(closure_id: UUID) -> Closure:
    """Show a dated exception."""
    return current.session.get_one(Closure, closure_id)


@shop.operation("DELETE", "/closures/<uuid:closure_id>", scopes=WRITERS, status=204, writes=True, edits=True)
def delete_closure(closure_id: UUID) -> None:
    """Delete a dated exception: that day is like any other of its weekday again."""
    row = current.session.get_one(Closure, closure_id)
    must_match(row)
    current.session.delete(row)


@staff.operation("GET", "/technicians", scopes=READERS, query=ActiveQuery, answer=page_of(TechnicianOut))
def list_technicians(query: dict[str, Any]) -> Answer:
    """List the technicians by name."""
    statement = select(Technician)
    if "active" in query:
        statement = statement.where(Technician.active == query["active"])
    answer = page(statement, query, sort=(Technician.name, Technician.id))
    answer.data.items[:] = [people.technician_told(row) for row in answer.data.items]
    return answer


@staff.operation(
    "POST",
    "/technicians",
    scopes=WRITERS,
    body=TechnicianIn,
    answer=TechnicianOut,
    status=201,
    writes=True,
    creates="key",
    conflicts=(NameInUse,),
)
def add_technician(body: dict[str, Any]) -> Answer:
    """Add a technician."""
    row = people.add_technician(current.session, body)
    return Answer(people.technician_told(row), location=f"/v1/technicians/{row.id}")


@staff.operation("GET", "/technicians/<uuid:technician_id>", scopes=READERS, answer=TechnicianOut)
def show_technician(technician_id: UUID) -> dict[str, Any]:
    """Show a technician."""
    return people.technician_told(current.session.get_one(Technician, technician_id))


@staff.operation(
    "PATCH",
    "/technicians/<uuid:technician_id>",
    scopes=WRITERS,
    body=TechnicianChange,
    answer=TechnicianOut,
    writes=True,
    edits=True,
    conflicts=(NameInUse,),
)
def change_technician(technician_id: UUID, body: dict[str, Any]) -> dict[str, Any]:
    """Change a technician; skills and shifts are replaced whole."""
    row = current.session.get_one(Technician, technician_id)
    must_match(row)
    return people.technician_told(people.change_technician(current.session, row, body, now=current.now))


@staff.operation("GET", "/benches", scopes=READERS, query=ActiveQuery, answer=page_of(BenchOut))
def list_benches(query: dict[str, Any]) -> Answer:
    """List the benches by name."""
    statement = select(Bench)
    if "active" in query:
        statement = statement.where(Bench.active == query["active"])
    return page(statement, query, sort=(Bench.name, Bench.id))


@staff.operation(
    "POST",
    "/benches",
    scopes=WRITERS,
    body=BenchIn,
    answer=BenchOut,
    status=201,
    writes=True,
    creates="key",
    conflicts=(NameInUse,),
)
def add_bench(body: dict[str, Any]) -> Answer:
    """Add a bench."""
    row = people.add_bench(current.session, body)
    return Answer(row, location=f"/v1/benches/{row.id}")


@staff.operation("GET", "/benches/<uuid:bench_id>", scopes=READERS, answer=BenchOut)
def show_bench(bench_id: UUID) -> Bench:
    """Show a bench."""
    return current.session.get_one(Bench, bench_id)


@staff.operation(
    "PATCH",
    "/benches/<uuid:bench_id>",
    scopes=WRITERS,
    body=BenchChange,
    answer=BenchOut,
    writes=True,
    edits=True,
    conflicts=(NameInUse,),
)
def change_bench(bench_id: UUID, body: dict[str, Any]) -> Bench:
    """Change a bench."""
    row = current.session.get_one(Bench, bench_id)
    must_match(row)
    return people.change_bench(current.session, row, body)


@staff.operation("GET", "/tools", scopes=READERS, query=ActiveQuery, answer=page_of(ToolOut))
def list_tools(query: dict[str, Any]) -> Answer:
    """List the measuring tools by name."""
    statement = select(Tool)
    if "active" in query:
        statement = statement.where(Tool.active == query["active"])
    answer = page(statement, query, sort=(Tool.name, Tool.id))
    answer.data.items[:] = [people.tool_told(row) for row in answer.data.items]
    return answer


@staff.operation(
    "POST",
    "/tools",
    scopes=WRITERS,
    body=ToolIn,
    answer=ToolOut,
    status=201,
    writes=True,
    creates="key",
    conflicts=(NameInUse,),
)
def add_tool(body: dict[str, Any]) -> Answer:
    """Add a measuring tool: what it measures, how finely, and how well its readings repeat."""
    row = people.add_tool(current.session, body)
    return Answer(people.tool_told(row), location=f"/v1/tools/{row.id}")


@staff.operation("GET", "/tools/<uuid:tool_id>", scopes=READERS, answer=ToolOut)
def show_tool(tool_id: UUID) -> dict[str, Any]:
    """Show a measuring tool."""
    return people.tool_told(current.session.get_one(Tool, tool_id))


@staff.operation(
    "PATCH",
    "/tools/<uuid:tool_id>",
    scopes=WRITERS,
    body=ToolChange,
    answer=ToolOut,
    writes=True,
    edits=True,
    conflicts=(NameInUse,),
)
def change_tool(tool_id: UUID, body: dict[str, Any]) -> dict[str, Any]:
    """Change a measuring tool; readings that were taken with it keep what it was worth then."""
    row = current.session.get_one(Tool, tool_id)
    must_match(row)
    return people.tool_told(people.change_tool(current.session, row, body))
