"""Studies, check pieces, and how the benches stand, over HTTP."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from sqlalchemy import select

from shimstock_server.database.tables.learning import CheckPiece, CheckReading, Study
from shimstock_server.database.words import StudyState
from shimstock_server.shop import ShopNotSetUp, local_day
from shimstock_server.web.blueprint import Answer, Blueprint
from shimstock_server.web.context import current
from shimstock_server.web.etags import must_match
from shimstock_server.web.idempotency import client_made
from shimstock_server.web.paging import page
from shimstock_server.web.problems import IdTaken, InvalidFields
from shimstock_server.web.visibility import exists, visibility

from . import agreement_schemas as schemas
from . import check_pieces, studies, study_findings
from .kinds import KINDS
from .problems import (
    CheckPieceRetired,
    NothingVaries,
    NotTheNextReading,
    StudyEnded,
    StudyIncomplete,
    StudyOpen,
)
from .values import read_plausible, read_value, refuse_ahead

study_routes = Blueprint("studies", "Guided studies of whether the benches measure the same")
check_routes = Blueprint("check-pieces", "Daily check readings of a bench")
BENCH = ("bench", "manager")

visibility("study_id", exists(Study.id))
visibility("piece_id", exists(CheckPiece.id))


def _show_study(study: Study) -> dict[str, Any]:
    return studies.show_study(current.session, study, current.actor)


@study_routes.operation(
    "POST", "/studies", scopes=BENCH, body=schemas.StudyIn, answer=schemas.StudyOut, status=201, writes=True,
    creates="key",
)  # fmt: skip
def post_study(body: dict[str, Any]) -> Answer:
    """Begin a study: which pieces, who reads them, how often. The order is drawn and its seed kept."""
    if body["tolerance"] is not None:
        tolerance = read_value(body["tolerance"], body["quantity"], "tolerance", low=0.0)
        if tolerance.value <= 0.0:
            raise InvalidFields.at("/tolerance/value", "must be above zero")
        body = body | {"tolerance": tolerance}
    study = studies.begin_study(current.session, body)
    return Answer(_show_study(study), location=f"/v1/studies/{study.id}")


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
        show=_show_study,
    )


@study_routes.operation("GET", "/studies/<uuid:study_id>", scopes=BENCH, answer=schemas.StudyOut)
def get_study(study_id: UUID) -> Answer:
    """Read a study and how far it is."""
    study = current.session.get_one(Study, study_id)
    # readings do not raise the version that the ETag is made of
    return Answer(_show_study(study), by_the_clock=True)


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
    answer=schemas.StudyReadingTakenOut, status=201, also={200: schemas.StudyReadingTakenOut}, writes=True,
    creates="key", conflicts=(StudyEnded, NotTheNextReading, IdTaken),
)  # fmt: skip
def post_study_reading(study_id: UUID, body: dict[str, Any]) -> Answer:
    """Take the reading that is next for its reader; under an id of the client's the same one twice is one."""
    session = current.session
    study = session.get_one(Study, study_id, with_for_update=True)
    reader = studies.reader_of(study, body["number"])
    known = studies.known_reading(session, study, body, current.fingerprint)
    if known is None:
        value = read_plausible(
            body["value"],
            study.quantity,
            "value",
            confirmed=body["confirmed"],
            kind=studies.kind_read(session, study, body["number"]),
        )
        if body["taken_at"] is not None:
            refuse_ahead(body["taken_at"], current.now)
        studies.record_reading(
            session,
            study,
            body,
            value,
            fingerprint=current.fingerprint,
            actor=current.actor,
            now=current.now,
        )
    wanted = studies.next_reading(study, studies.taken(session, study), reader)
    return Answer({"number": body["number"], "next": wanted}, status=200 if known is not None else 201)


@study_routes.operation(
    "POST", "/studies/<uuid:study_id>/end", scopes=BENCH, body=schemas.StudyEndIn, answer=schemas.StudyOut,
    writes=True, creates="key", conflicts=(StudyEnded, StudyIncomplete, NothingVaries),
)  # fmt: skip
def post_study_end(study_id: UUID, body: dict[str, Any]) -> dict[str, Any]:
    """End a study. Each bench's repeatability counts for the readings that it takes from now on.

    By how much each bench reads too high is taken off its readings in jobs first read from now on.

    When somebody cannot read on, `as_it_stands` judges the readers and rounds that are complete.
    """
    study = current.session.get_one(Study, study_id, with_for_update=True)
    study_findings.end_study(
        current.session,
        study,
        abandon=body["abandon"],
        as_it_stands=body["as_it_stands"],
        now=current.now,
    )
    return _show_study(study)


@study_routes.operation(
    "GET", "/studies/<uuid:study_id>/agreement", scopes=BENCH, answer=schemas.StudyAgreementOut,
    conflicts=(StudyOpen,),
)  # fmt: skip
def get_study_agreement(study_id: UUID) -> dict[str, Any]:
    """Read what an ended study says: repeatability and reproducibility by both methods, and in words."""
    study = current.session.get_one(Study, study_id)
    return study_findings.show_agreement(current.session, study, current.units)


@check_routes.operation(
    "POST", "/check-pieces", scopes=BENCH, body=schemas.CheckPieceIn, answer=schemas.CheckPieceOut,
    status=201, writes=True, creates="key",
)  # fmt: skip
def post_check_piece(body: dict[str, Any]) -> Answer:
    """Add a check piece to a bench."""
    stated = None
    if body["stated"] is not None:
        stated = read_plausible(body["stated"], body["quantity"], "stated", confirmed=body["confirmed"])
    body = body | {"bench_id": body["bench_id"] or current.actor.bench_id}
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
    if query.get("here") is not None and current.actor.bench_id is not None:
        here = CheckPiece.bench_id == current.actor.bench_id
        wanted = wanted.where(here if query["here"] else ~here)
    return page(
        wanted,
        query,
        sort=(CheckPiece.created_at, CheckPiece.id),
        show=lambda piece: check_pieces.show_piece(current.session, piece),
    )


@check_routes.operation("GET", "/check-pieces/<uuid:piece_id>", scopes=BENCH, answer=schemas.CheckPieceOut)
def get_check_piece(piece_id: UUID) -> Answer:
    """Read a check piece."""
    piece = current.session.get_one(CheckPiece, piece_id)
    # checks do not raise the version that the ETag is made of
    return Answer(check_pieces.show_piece(current.session, piece), by_the_clock=True)


@check_routes.operation(
    "PATCH", "/check-pieces/<uuid:piece_id>", scopes=BENCH, body=schemas.CheckPieceChange,
    answer=schemas.CheckPieceOut, writes=True, edits=True, conflicts=(ShopNotSetUp,),
)  # fmt: skip
def patch_check_piece(piece_id: UUID, body: dict[str, Any]) -> dict[str, Any]:
    """Change a check piece, or have its limits drawn anew from a day on."""
    piece = current.session.get_one(CheckPiece, piece_id)
    must_match(piece)
    first = body.get("limits_from")
    if first is not None and first > (today := local_day(current.session, current.now)):
        raise InvalidFields.at("/limits_from", f"a day that has begun: {today} or before")
    for name, value in body.items():
        setattr(piece, name, value)
    current.session.flush()
    return check_pieces.show_piece(current.session, piece)


@check_routes.operation(
    "POST", "/check-pieces/<uuid:piece_id>/readings", scopes=BENCH, body=schemas.CheckReadingIn,
    answer=schemas.CheckReadingOut, status=201, also={200: schemas.CheckReadingOut}, writes=True,
    creates="key", conflicts=(ShopNotSetUp, CheckPieceRetired, IdTaken),
)  # fmt: skip
def post_check_reading(piece_id: UUID, body: dict[str, Any]) -> Answer:
    """Keep a day's check, judged against what the bench read before: limits of the mean and the spread."""
    session = current.session
    piece = session.get_one(CheckPiece, piece_id, with_for_update=True)
    kind = KINDS[piece.quantity.value]
    if body["id"] is not None:
        known = client_made(session, CheckReading, body["id"], current.fingerprint)
        if known is not None and known.piece_id != piece.id:
            raise IdTaken
        if known is not None:
            return Answer(check_pieces.show_check(known, kind), status=200)
    values = [
        read_plausible(sent, piece.quantity, "values", number, confirmed=body["confirmed"])
        for number, sent in enumerate(body["values"])
    ]
    if body["taken_at"] is not None:
        refuse_ahead(body["taken_at"], current.now)
    check = check_pieces.record_check(
        session,
        piece,
        values,
        body,
        fingerprint=current.fingerprint,
        actor=current.actor,
        now=current.now,
    )
    return Answer(check_pieces.show_check(check, kind))


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
