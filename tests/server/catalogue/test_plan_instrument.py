"""From the catalogue to the plan: every bridge and rod, what is an instrument's own, what is lacking."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any
from uuid import UUID

import pytest

from shimstock_calc.plan import model as plan
from shimstock_calc.strings import tension
from shimstock_server import catalogue
from shimstock_server.database.session import Database
from shimstock_server.database.tables.owners import Instrument
from shimstock_server.database.words import BridgeKind, RodKind
from shimstock_server.web.problems import InvalidFields
from tests.server.clients import Client

from .bodies import BRIDGES, LIGHT, STANDARD, model, per_turn, quantity
from .conftest import Add

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)

Planned = Callable[..., plan.Instrument]


@pytest.fixture
def planned(add: Add, database: Database) -> Planned:
    """Add an instrument of a model and return it as the plan takes it."""

    def make(own: dict[str, Any] | None = None, *, strung: bool = True, **changes: Any) -> plan.Instrument:
        if strung:
            changes.setdefault("string_set_id", add("/v1/string-sets", LIGHT)["id"])
            changes.setdefault("tuning_id", add("/v1/tunings", STANDARD)["id"])
        made = add("/v1/instrument-models", model(**changes))
        owner = add("/v1/owners", {"name": "Ansel Drumgoolde"})
        row = add("/v1/instruments", {"model_id": made["id"], "owner_id": owner["id"], **(own or {})})
        with database.read() as session:
            return catalogue.plan_instrument(session, session.get_one(Instrument, UUID(row["id"])))

    return make


def test_geometry_and_hardware_reach_the_plan(planned: Planned) -> None:
    got = planned(
        neck_joint={"kind": "bolt-on", "pocket_length": quantity(76)},
        pickups=[{"name": "bridge", "screw": "body", "thread_pitch": per_turn(0.8)}],
        nut={"slot_widths": [{"string": 6, "width": quantity(1.2)}], "locking": True},
        radius_body_end=quantity(16, "in"),
        greatest_pull=quantity(120, "lbf"),
        delicate_finish=True,
    )
    assert (got.kind, got.built_for, got.frets, got.body_joint_fret) == ("electric", "steel", 22, 16)
    assert (got.scale_bass, got.scale_treble, got.perpendicular_fret) == (628.65, 628.65, 0.0)
    assert (got.radius_nut, got.radius_end) == pytest.approx((304.8, 406.4))
    assert got.bridge == plan.Bridge("two-post", 74.0, 52.0, 1.25)
    assert got.rod == plan.TrussRod("single-action", False, "head")
    assert got.neck_joint == plan.NeckJoint("bolt-on", 76.0, None)
    assert got.pickups == (plan.Pickup("bridge", "body", 0.8),)
    assert got.nut == plan.Nut(((6, 1.2),), locking=True)
    assert got.max_total_pull == pytest.approx(533.787, abs=1e-3)
    assert got.delicate_finish
    assert not got.delicate


def test_strings_have_pitch_weight_and_core(planned: Planned) -> None:
    first, *_, sixth = planned().strings
    assert (first.number, first.note, first.wound, first.core_diameter) == (1, "E4", False, first.gauge)
    assert first.frequency == pytest.approx(329.628, abs=1e-3)
    assert float(tension(first.linear_density, 628.65, first.frequency)) == pytest.approx(55.3, abs=0.05)
    assert (sixth.note, sixth.wound, sixth.material) == ("E2", True, "steel")
    # a hexagon of 18.5 thou across flats has the area of a round wire 1.0501 times as thick
    assert sixth.core_diameter == pytest.approx(18.5 * 0.0254 * 1.0501, rel=1e-4)


@pytest.mark.parametrize("kind", list(BridgeKind))
def test_every_kind_of_bridge_reaches_the_plan(planned: Planned, kind: BridgeKind) -> None:
    bridge = planned(bridge=BRIDGES[kind.value]).bridge
    assert bridge.kind == kind.value
    if kind is BridgeKind.INDIVIDUAL_SADDLES:
        assert (bridge.screws_per_saddle, bridge.travel_away) == (2, ((3, 2.0),))
    if kind is BridgeKind.FIXED_SADDLE:
        assert (bridge.saddle_total_height, bridge.undersaddle_pickup) == ((8.0, 7.0), True)
    if kind is BridgeKind.MOVABLE:
        assert bridge.left_hand_thread


@pytest.mark.parametrize("kind", list(RodKind))
@pytest.mark.parametrize("way", [True, False, None])
def test_every_kind_of_rod_reaches_the_plan(planned: Planned, kind: RodKind, way: bool | None) -> None:
    sent = {"kind": kind.value} if kind is RodKind.NONE else {"kind": kind.value, "reversed": way}
    rod = planned(truss_rod=sent).rod
    assert (rod.kind, rod.reversed) == (kind.value, False if kind is RodKind.NONE else way)


def test_what_is_known_of_one_instrument_counts_before_its_model(planned: Planned) -> None:
    got = planned(
        {
            "handedness": "left",
            "named_consents": True,
            "truss_rod": {"turns_left_loosen": quantity(0, "turn"), "reversed": None},
            "bridge": {"height_left_up": quantity(1.5)},
        },
        truss_rod={"kind": "single-action", "turns_left_tighten": quantity(2, "turn")},
    )
    assert got.left_handed
    assert got.delicate
    assert got.rod == plan.TrussRod(
        "single-action", reversed=None, turns_left_tighten=2.0, turns_left_loosen=0.0
    )
    assert (got.bridge.height_left_up, got.bridge.post_spacing) == (1.5, 74.0)


def test_an_instruments_own_strings_and_tuning_count(planned: Planned, add: Add) -> None:
    low = add("/v1/tunings", {"name": "low", "notes": ["Eb4", "Bb3", "Gb3", "Db3", "Ab2", "Eb2"]})
    assert planned({"tuning_id": low["id"]}).strings[0].note == "Eb4"


def test_without_a_set_the_pitches_are_known_and_the_weights_are_not(planned: Planned, add: Add) -> None:
    got = planned(strung=False, tuning_id=add("/v1/tunings", STANDARD)["id"])
    assert {string.linear_density for string in got.strings} == {None}
    assert got.strings[5].frequency == pytest.approx(82.407, abs=1e-3)


def test_pairs_of_strings_have_a_principal_and_an_octave_or_unison_string(planned: Planned, add: Add) -> None:
    notes = ["E4", "E4", "B3", "B3", "G3", "G4"]
    got = planned(
        strung=False,
        tuning_id=add("/v1/tunings", {"name": "pairs", "notes": notes})["id"],
        courses=[[1, 2], [3, 4], [5, 6]],
    )
    assert [(string.course, string.course_role) for string in got.strings] == [
        (1, "principal"),
        (1, "unison"),
        (2, "principal"),
        (2, "unison"),
        (3, "principal"),
        (3, "octave"),
    ]


def test_what_the_plan_lacks_is_named_with_its_field(planned: Planned) -> None:
    with pytest.raises(catalogue.InstrumentIncomplete) as refused:
        planned(strung=False, body_joint_fret=None, bridge={"kind": "individual-saddles"})
    assert refused.value.status == 409
    assert [error["pointer"] for error in refused.value.errors or []] == [
        "/instrument_models/body_joint_fret",
        "/instrument_models/tuning_id",
        "/instrument_models/bridge/height_thread_pitch",
    ]


def test_other_sets_are_of_the_same_kind_and_number(add: Add, client: Client, database: Database) -> None:
    light = add("/v1/string-sets", LIGHT)
    add("/v1/string-sets", LIGHT | {"name": "for any"})
    add("/v1/string-sets", LIGHT | {"name": "for basses", "kinds": ["bass"]})
    add("/v1/string-sets", {"name": "three", "strings": LIGHT["strings"][:3]})
    tuning = add("/v1/tunings", STANDARD)
    made = add("/v1/instrument-models", model(string_set_id=light["id"], tuning_id=tuning["id"]))
    owner = add("/v1/owners", {"name": "Ansel Drumgoolde"})
    row = add("/v1/instruments", {"model_id": made["id"], "owner_id": owner["id"]})
    with database.read() as session:
        sets = catalogue.plan_other_sets(session, session.get_one(Instrument, UUID(row["id"])))
    assert [each.name for each in sets] == ["for any"]


# ---------------------------------------------------------------- from a request alone


def inline(**changes: Any) -> dict[str, Any]:
    """Return an instrument as a request for a plan gives it, without a catalogue."""
    body = {name: value for name, value in model(**changes).items() if name not in ("name", "maker")} | {
        "tuning": {"notes": STANDARD["notes"]},
        "string_set": {"strings": LIGHT["strings"]},
    }
    return {name: value for name, value in body.items() if value is not None}


def from_body(database: Database, body: dict[str, Any]) -> plan.Instrument:
    """Read a body and make the plan's record of it."""
    with database.read() as session:
        return catalogue.plan_instrument_from_body(session, catalogue.PlanInstrumentIn().load(body))


def test_an_inline_instrument_is_the_same_as_one_of_the_catalogue(
    planned: Planned, database: Database
) -> None:
    assert from_body(database, inline()) == planned()


def test_an_inline_body_over_a_model_changes_what_it_names(add: Add, database: Database) -> None:
    made = add("/v1/instrument-models", model(tuning_id=add("/v1/tunings", STANDARD)["id"]))
    got = from_body(database, {"model_id": made["id"], "frets": 24, "handedness": "left"})
    assert (got.frets, got.left_handed, got.scale_bass) == (24, True, 628.65)


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({}, "/instrument/kind"),
        (inline(body_joint_fret=None), "/instrument/body_joint_fret"),
        (inline(body_joint_fret=23), "/instrument/body_joint_fret"),
        (inline() | {"tuning": {"notes": ["E4", "B3", "G3"]}}, "/instrument/tuning/notes"),
        (inline() | {"tuning": {"notes": ["E4", "B3", "H3"]}}, "/instrument/tuning/notes/2"),
        (inline() | {"string_set": {"strings": LIGHT["strings"][:4]}}, "/instrument/string_set/strings"),
        (inline() | {"model_id": "01890a5d-ac96-774b-bcce-b302099a8057"}, "/instrument/model_id"),
        (inline(bridge={"kind": "two-post"}), "/instrument/bridge/post_spacing"),
        (inline(bridge={"kind": "fixed-saddle", "springs": 3}), "/instrument/bridge/springs"),
    ],
)
def test_an_inline_instrument_that_cannot_be_is_refused_with_the_field(
    database: Database, body: dict[str, Any], pointer: str
) -> None:
    with pytest.raises(InvalidFields) as refused:
        from_body(database, body)
    assert pointer in [error["pointer"] for error in refused.value.errors or []]
