"""The addresses of an instrument's clearance map and intonation curves: data, or a picture."""

from __future__ import annotations

from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from shimstock_server.bench import whole_life
from shimstock_server.catalogue import InstrumentIncomplete
from shimstock_server.database.tables.owners import Instrument
from shimstock_server.shop import ShopNotSetUp, settings
from shimstock_server.web.blueprint import Answer, Blueprint
from shimstock_server.web.context import current
from shimstock_server.web.problems import CannotCalculate

from .drawing import Head, clearance_picture, head_of, intonation_picture
from .heights import Heights, newest_heights
from .playing import clearance_of
from .problems import ReadingsMissing, StringsUnknown
from .schemas import ClearanceOut, ClearanceQuery, IntonationOut
from .telling import clearance_data, digest, intonation_data
from .tuning import tuning_of

blueprint = Blueprint(
    "curves", "Maps and curves of an instrument as it was last read: where strings touch, how frets sound."
)

SVG = "image/svg+xml"
SCOPES = ("bench", "manager")
TYPES = ("application/json", SVG)
IN_THE_WAY = (ReadingsMissing, InstrumentIncomplete, ShopNotSetUp, CannotCalculate)


def _name(instrument: Instrument) -> str:
    words = (instrument.model.maker, instrument.model.name, instrument.serial)
    return " ".join(word for word in words if word)


def _head(instrument: Instrument, heights: Heights) -> Head:
    zone = ZoneInfo(settings(current.session).zone)
    day = heights.read_at.astimezone(zone).date()
    return head_of(_name(instrument), heights, day, current.units)


@blueprint.operation(
    "GET", "/instruments/<uuid:instrument_id>/clearance", scopes=SCOPES, query=ClearanceQuery,
    answer=ClearanceOut, types=TYPES, conflicts=IN_THE_WAY,
)  # fmt: skip
def get_clearance(instrument_id: UUID, query: dict[str, Any]) -> Answer:
    """Read where the strings of an instrument touch first, and how hard each may be plucked.

    From its newest readings of relief, action and nut action, whichever job they belong to. Strings that
    were not read follow the radius between the two sides. `Accept` chooses data or the picture.
    """
    row = current.session.get_one(Instrument, instrument_id)
    life = whole_life(current.session, row)
    instrument, heights = life.source.instrument, newest_heights(life)
    clearance = clearance_of(instrument, heights, query["touch"])
    data = clearance_data(instrument_id, _name(row), instrument, clearance, query["touch"])
    named = digest(data)
    if current.media_type == SVG:
        picture = clearance_picture(_head(row, heights), instrument, clearance, current.units)
        return Answer(text=picture, media_type=SVG, digest=named)
    return Answer(data, digest=named)


@blueprint.operation(
    "GET", "/instruments/<uuid:instrument_id>/intonation", scopes=SCOPES, answer=IntonationOut, types=TYPES,
    conflicts=(*IN_THE_WAY, StringsUnknown),
)  # fmt: skip
def get_intonation(instrument_id: UUID) -> Answer:
    """Read how sharp each fretted note of an instrument is, and where its saddles should stand.

    From its newest readings of relief, action and nut action; a reading of intonation tells where a saddle
    stands now. `Accept` chooses data or the picture.
    """
    row = current.session.get_one(Instrument, instrument_id)
    life = whole_life(current.session, row)
    instrument, heights = life.source.instrument, newest_heights(life)
    tuning = tuning_of(life.source, heights)
    if not tuning.curves:
        errors = [{"pointer": f"/strings/{number}", "message": why} for number, why in tuning.unknown.items()]
        raise StringsUnknown(errors=errors)
    data = intonation_data(instrument_id, _name(row), instrument, tuning)
    named = digest(data)
    if current.media_type == SVG:
        picture = intonation_picture(_head(row, heights), instrument, tuning, current.units)
        return Answer(text=picture, media_type=SVG, digest=named)
    return Answer(data, digest=named)
