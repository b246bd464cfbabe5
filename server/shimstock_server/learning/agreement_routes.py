"""Studies, check pieces, and how the benches stand, over HTTP."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from marshmallow import ValidationError
from sqlalchemy import select

from shimstock_server.database.tables.learning import CheckPiece, CheckReading, Study
from shimstock_server.database.tables.shop import Bench
from shimstock_server.database.words import Quantity, StudyState
from shimstock_server.shop import ShopNotSetUp
from shimstock_server.web.blueprint import Answer, Blueprint
from shimstock_server.web.context import current
from shimstock_server.web.etags import must_match
from shimstock_server.web.paging import page
from shimstock_server.web.problems import InvalidFields
from shimstock_server.web.quantities import KINDS as KINDS_OF_VALUE
from shimstock_server.web.quantities import Quantity as Value
from shimstock_server.web.quantities import read_quantity
from shimstock_server.web.schemas import field_errors
from shimstock_server.web.visibility import exists, visibility

from . import agreement_schemas as schemas
from . import check_pieces, studies
from .kinds import KINDS
from .problems import NothingVaries, NotTheNextReading, StudyEnded, StudyIncomplete, StudyOpen

study_routes = Blueprint("studies", "Guided studies of whether the benches measure the same")
check_routes = Blueprint("check-pieces", "Daily check readings of a bench, and how the benches stand")
BENCH = ("bench", "manager")

visibility("study_id", exists(Study.id))
visibility("piece_id", exists(CheckPiece.id))


def _value(sent: Any, quantity: Quantity, *where: str | int, low: float | None = None) -> Value:
    """Read a value once its quantity is known."""
    try:
        return read_quantity(sent, KINDS_OF_VALUE[KINDS[quantity.value]], low=low)
    except ValidationError as error:
        raise InvalidFields(errors=field_errors(error.messages, *where)) from error


@study_routes.operation(
    "POST", "/studies", scopes=BENCH, body=schemas.StudyIn, answer=schemas.StudyOut, status=201, writes=True,
    creates="key",
)  # fmt: skip
def post_study(body: dict[str, Any]) -> Answer:
    """Begin a study: which pieces, who reads them, how often. The order is drawn and its seed kept."""
    if body["tolerance"] is not None:
        tolerance = _value(body["tolerance"], body["quantity"], "tolerance", low=0.0)
        if tolerance.value <= 0.0:
            raise InvalidFields.at("/tolerance/value", "must be above zero")
        body = body | {"tolerance": tolerance}
    study = studies.begin_study(current.session, body)
    return Answer(studies.show_study(current.session, study), location=f"/v1/studies/{study.id}")


@study_routes.operation("GET", "/studies", scopes=BENCH, query=schemas.StudyQuery, answer=schemas.StudyPage)
def get_studies(query: dict[str, Any]) -> Answer:
    """List the studies, the newest first."""
    wanted = select(Study)
    for name, column in (("state", Study.state), ("quantity", Study.quantity)):
        if query.get(name) is not None:
            wanted = wanted.where(column == query[name])
    return page(
        wanted,
        query,
        sort=(Study.created_at, Study.id),
        descending=True,
        show=lambda study: studies.show_study(current.session, study),
    )


@study_routes.operation("GET", "/studies/<uuid:study_id>", scopes=BENCH, answer=schemas.StudyOut)
def get_study(study_id: UUID) -> dict[str, Any]:
    """Read a study and how far it is."""
    return studies.show_study(current.session, current.session.get_one(Study, study_id))


@study_routes.operation(
    "GET", "/studies/<uuid:study_id>/next", scopes=BENCH, query=schemas.NextReadingQuery,
    answer=schemas.NextReadingOut, also={204: None}, conflicts=(StudyEnded,),
)  # fmt: skip
def get_next_reading(study_id: UUID, query: dict[str, Any]) -> Answer:
    """Read what a reader takes next; 204 when it is through. Earlier values are not shown."""
    study = current.session.get_one(Study, study_id)
    if study.state is not StudyState.OPEN:
        raise StudyEnded
    if query["reader"] >= len(study.readers):
        raise InvalidFields.at("/query/reader", f"this study has readers 0 to {len(study.readers) - 1}")
    wanted = studies.next_reading(study, studies.taken(current.session, study), query["reader"])
    return Answer(status=204) if wanted is None else Answer(wanted)


@study_routes.operation(
    "POST", "/studies/<uuid:study_id>/readings", scopes=BENCH, body=schemas.StudyReadingIn,
    answer=schemas.StudyReadingTakenOut, status=201, writes=True, creates="key",
    conflicts=(StudyEnded, NotTheNextReading),
)  # fmt: skip
def post_study_reading(study_id: UUID, body: dict[str, Any]) -> dict[str, Any]:
    """Take the reading that is next for its reader."""
    study = current.session.get_one(Study, study_id, with_for_update=True)
    value = _value(body["value"], study.quantity, "value")
    studies.record_reading(current.session, study, body, value, actor=current.actor, now=current.now)
    reader = study.order[body["number"] - 1][1]
    wanted = studies.next_reading(study, studies.taken(current.session, study), reader)
    return {"number": body["number"], "next": wanted}


@study_routes.operation(
    "POST", "/studies/<uuid:study_id>/end", scopes=BENCH, body=schemas.StudyEndIn, answer=schemas.StudyOut,
    writes=True, creates="key", conflicts=(StudyEnded, StudyIncomplete, NothingVaries),
)  # fmt: skip
def post_study_end(study_id: UUID, body: dict[str, Any]) -> dict[str, Any]:
    """End a study. Each bench's repeatability counts for the readings that it takes from now on."""
    study = current.session.get_one(Study, study_id, with_for_update=True)
    studies.end_study(current.session, study, abandon=body["abandon"], now=current.now)
    return studies.show_study(current.session, study)


@study_routes.operation(
    "GET", "/studies/<uuid:study_id>/agreement", scopes=BENCH, answer=schemas.StudyAgreementOut,
    conflicts=(StudyOpen,),
)  # fmt: skip
def get_study_agreement(study_id: UUID) -> dict[str, Any]:
    """Read what an ended study says: repeatability and reproducibility by both methods, and in words."""
    study = current.session.get_one(Study, study_id)
    return studies.show_agreement(current.session, study, current.units)


@check_routes.operation(
    "POST", "/check-pieces", scopes=BENCH, body=schemas.CheckPieceIn, answer=schemas.CheckPieceOut,
    status=201, writes=True, creates="key",
)  # fmt: skip
def post_check_piece(body: dict[str, Any]) -> Answer:
    """Add a check piece to a bench."""
    stated = None if body["stated"] is None else _value(body["stated"], body["quantity"], "stated")
    piece = check_pieces.add_piece(current.session, body, stated)
    return Answer(check_pieces.show_piece(current.session, piece), location=f"/v1/check-pieces/{piece.id}")


@check_routes.operation(
    "GET", "/check-pieces", scopes=BENCH, query=schemas.CheckPieceQuery, answer=schemas.CheckPiecePage
)
def get_check_pieces(query: dict[str, Any]) -> Answer:
    """List the check pieces with their limits and how they stand."""
    wanted = select(CheckPiece)
    for name, column in (("bench_id", CheckPiece.bench_id), ("active", CheckPiece.active)):
        if query.get(name) is not None:
            wanted = wanted.where(column == query[name])
    return page(
        wanted,
        query,
        sort=(CheckPiece.created_at, CheckPiece.id),
        show=lambda piece: check_pieces.show_piece(current.session, piece),
    )


@check_routes.operation("GET", "/check-pieces/<uuid:piece_id>", scopes=BENCH, answer=schemas.CheckPieceOut)
def get_check_piece(piece_id: UUID) -> dict[str, Any]:
    """Read a check piece."""
    return check_pieces.show_piece(current.session, current.session.get_one(CheckPiece, piece_id))


@check_routes.operation(
    "PATCH", "/check-pieces/<uuid:piece_id>", scopes=BENCH, body=schemas.CheckPieceChange,
    answer=schemas.CheckPieceOut, writes=True, edits=True,
)  # fmt: skip
def patch_check_piece(piece_id: UUID, body: dict[str, Any]) -> dict[str, Any]:
    """Change a check piece, or have its limits drawn anew from a day on."""
    piece = current.session.get_one(CheckPiece, piece_id)
    must_match(piece)
    for name, value in body.items():
        setattr(piece, name, value)
    current.session.flush()
    return check_pieces.show_piece(current.session, piece)


@check_routes.operation(
    "POST", "/check-pieces/<uuid:piece_id>/readings", scopes=BENCH, body=schemas.CheckReadingIn,
    answer=schemas.CheckReadingOut, status=201, writes=True, creates="key", conflicts=(ShopNotSetUp,),
)  # fmt: skip
def post_check_reading(piece_id: UUID, body: dict[str, Any]) -> dict[str, Any]:
    """Keep a day's check, judged against what the bench read before: limits of the mean and the spread."""
    piece = current.session.get_one(CheckPiece, piece_id)
    values = [_value(sent, piece.quantity, "values", number) for number, sent in enumerate(body["values"])]
    check = check_pieces.record_check(
        current.session,
        piece,
        values,
        taken_at=body["taken_at"] or current.now,
        note=body["note"],
        actor=current.actor,
    )
    return check_pieces.show_check(check, KINDS[piece.quantity.value])


@check_routes.operation(
    "GET", "/check-pieces/<uuid:piece_id>/readings", scopes=BENCH, query=schemas.CheckReadingQuery,
    answer=schemas.CheckReadingPage,
)  # fmt: skip
def get_check_readings(piece_id: UUID, query: dict[str, Any]) -> Answer:
    """List the checks of a piece, the newest first."""
    kind = KINDS[current.session.get_one(CheckPiece, piece_id).quantity.value]
    return page(
        select(CheckReading).where(CheckReading.piece_id == piece_id),
        query,
        sort=(CheckReading.taken_at, CheckReading.id),
        descending=True,
        show=lambda check: check_pieces.show_check(check, kind),
    )


@check_routes.operation("GET", "/reports/bench-agreement", scopes=BENCH, answer=schemas.BenchAgreementOut)
def get_bench_agreement() -> dict[str, Any]:
    """Read whether the benches measure the same: the newest study of each quantity, and who drifts."""
    session = current.session
    newest: dict[Quantity, Study] = {}
    for study in session.scalars(
        select(Study).where(Study.state == StudyState.ENDED).order_by(Study.ended_at, Study.id)
    ):
        newest[study.quantity] = study
    return {
        "studies": [_in_short(newest[quantity]) for quantity in Quantity if quantity in newest],
        "benches": [_standing(bench) for bench in session.scalars(select(Bench).order_by(Bench.name))],
    }


def _in_short(study: Study) -> dict[str, Any]:
    found = studies.agreement(current.session, study, "anova", current.units)
    return {
        "study_id": study.id,
        "name": study.name,
        "quantity": study.quantity,
        "ended_at": study.ended_at,
        "percent_of_total": found.percent_of_total,
        "percent_of_tolerance": found.percent_of_tolerance,
        "words": list(found.words),
    }


def _standing(bench: Bench) -> dict[str, Any]:
    pieces = [
        check_pieces.show_piece(current.session, piece)
        for piece in current.session.scalars(
            select(CheckPiece)
            .where(CheckPiece.bench_id == bench.id, CheckPiece.active)
            .order_by(CheckPiece.name, CheckPiece.id)
        )
    ]
    return {
        "bench_id": bench.id,
        "name": bench.name,
        "drifting": any(piece["drifting"] for piece in pieces),
        "pieces": pieces,
    }
