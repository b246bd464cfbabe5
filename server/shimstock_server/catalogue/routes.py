"""The addresses of string sets, tunings and instrument models."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from sqlalchemy import select

from shimstock_server.database.tables.catalogue import InstrumentModel, StringSet, Tuning
from shimstock_server.web.blueprint import Answer, Blueprint
from shimstock_server.web.context import current
from shimstock_server.web.etags import must_match
from shimstock_server.web.paging import PageQuery, page, page_of
from shimstock_server.web.visibility import exists, visibility

from . import models, string_sets
from .model_schemas import InstrumentModelChange, InstrumentModelIn, InstrumentModelOut, ModelQuery
from .problems import NameTaken
from .schemas import StringSetChange, StringSetIn, StringSetOut, TuningChange, TuningIn, TuningOut

strings = Blueprint("strings", "String sets and tunings of the catalogue.")
instrument_models = Blueprint("instrument models", "Geometry, hardware and woods of the models that come in.")

READERS = ("bench", "manager")
WRITERS = ("manager",)

visibility("string_set_id", exists(StringSet.id))
visibility("tuning_id", exists(Tuning.id))
visibility("model_id", exists(InstrumentModel.id))


@strings.operation("GET", "/string-sets", scopes=READERS, query=PageQuery, answer=page_of(StringSetOut))
def list_string_sets(query: dict[str, Any]) -> Answer:
    """List the string sets by name."""
    answer = page(select(StringSet), query, sort=(StringSet.name, StringSet.id))
    answer.data.items[:] = [string_sets.set_told(row) for row in answer.data.items]
    return answer


@strings.operation(
    "POST",
    "/string-sets",
    scopes=WRITERS,
    body=StringSetIn,
    answer=StringSetOut,
    status=201,
    writes=True,
    creates="key",
    conflicts=(NameTaken,),
)
def add_string_set(body: dict[str, Any]) -> Answer:
    """Add a string set.

    What a string weighs is computed when it is plain steel, or wound on steel with core and wrap given;
    else it is taken as stated, or stays unknown.
    """
    row = string_sets.create_string_set(current.session, body)
    return Answer(string_sets.set_told(row), location=f"/v1/string-sets/{row.id}")


@strings.operation("GET", "/string-sets/<uuid:string_set_id>", scopes=READERS, answer=StringSetOut)
def show_string_set(string_set_id: UUID) -> dict[str, Any]:
    """Show a string set."""
    return string_sets.set_told(current.session.get_one(StringSet, string_set_id))


@strings.operation(
    "PATCH",
    "/string-sets/<uuid:string_set_id>",
    scopes=WRITERS,
    body=StringSetChange,
    answer=StringSetOut,
    writes=True,
    edits=True,
    conflicts=(NameTaken,),
)
def change_string_set(string_set_id: UUID, body: dict[str, Any]) -> dict[str, Any]:
    """Change a string set; the list of strings is replaced whole."""
    row = current.session.get_one(StringSet, string_set_id)
    must_match(row)
    return string_sets.set_told(string_sets.change_string_set(current.session, row, body))


@strings.operation("GET", "/tunings", scopes=READERS, query=PageQuery, answer=page_of(TuningOut))
def list_tunings(query: dict[str, Any]) -> Answer:
    """List the tunings by name."""
    answer = page(select(Tuning), query, sort=(Tuning.name, Tuning.id))
    answer.data.items[:] = [string_sets.tuning_told(row) for row in answer.data.items]
    return answer


@strings.operation(
    "POST",
    "/tunings",
    scopes=WRITERS,
    body=TuningIn,
    answer=TuningOut,
    status=201,
    writes=True,
    creates="key",
    conflicts=(NameTaken,),
)
def add_tuning(body: dict[str, Any]) -> Answer:
    """Add a tuning: the notes from string 1, on the treble side, to the last."""
    row = string_sets.create_tuning(current.session, body)
    return Answer(string_sets.tuning_told(row), location=f"/v1/tunings/{row.id}")


@strings.operation("GET", "/tunings/<uuid:tuning_id>", scopes=READERS, answer=TuningOut)
def show_tuning(tuning_id: UUID) -> dict[str, Any]:
    """Show a tuning."""
    return string_sets.tuning_told(current.session.get_one(Tuning, tuning_id))


@strings.operation(
    "PATCH",
    "/tunings/<uuid:tuning_id>",
    scopes=WRITERS,
    body=TuningChange,
    answer=TuningOut,
    writes=True,
    edits=True,
    conflicts=(NameTaken,),
)
def change_tuning(tuning_id: UUID, body: dict[str, Any]) -> dict[str, Any]:
    """Change a tuning."""
    row = current.session.get_one(Tuning, tuning_id)
    must_match(row)
    return string_sets.tuning_told(string_sets.change_tuning(current.session, row, body))


@instrument_models.operation(
    "GET", "/instrument-models", scopes=READERS, query=ModelQuery, answer=page_of(InstrumentModelOut)
)
def list_instrument_models(query: dict[str, Any]) -> Answer:
    """List the models by name, those of one kind or one maker when asked."""
    statement = select(InstrumentModel)
    if "kind" in query:
        statement = statement.where(InstrumentModel.kind == query["kind"])
    if "maker" in query:
        statement = statement.where(InstrumentModel.maker == query["maker"])
    answer = page(statement, query, sort=(InstrumentModel.name, InstrumentModel.id))
    answer.data.items[:] = [models.told(row) for row in answer.data.items]
    return answer


@instrument_models.operation(
    "POST",
    "/instrument-models",
    scopes=WRITERS,
    body=InstrumentModelIn,
    answer=InstrumentModelOut,
    status=201,
    writes=True,
    creates="key",
    conflicts=(NameTaken,),
)
def add_instrument_model(body: dict[str, Any]) -> Answer:
    """Add an instrument model.

    It may be incomplete: `lacks` in the answer names what the plan will need, and why.
    """
    row = models.create_model(current.session, body)
    return Answer(models.told(row), location=f"/v1/instrument-models/{row.id}")


@instrument_models.operation(
    "GET", "/instrument-models/<uuid:model_id>", scopes=READERS, answer=InstrumentModelOut
)
def show_instrument_model(model_id: UUID) -> dict[str, Any]:
    """Show an instrument model."""
    return models.told(current.session.get_one(InstrumentModel, model_id))


@instrument_models.operation(
    "PATCH",
    "/instrument-models/<uuid:model_id>",
    scopes=WRITERS,
    body=InstrumentModelChange,
    answer=InstrumentModelOut,
    writes=True,
    edits=True,
    conflicts=(NameTaken,),
)
def change_instrument_model(model_id: UUID, body: dict[str, Any]) -> dict[str, Any]:
    """Change an instrument model; bridge, rod, nut and lists are replaced whole."""
    row = current.session.get_one(InstrumentModel, model_id)
    must_match(row)
    return models.told(models.change_model(current.session, row, body))
