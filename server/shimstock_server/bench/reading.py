"""Reading what a bench sends: every reading checked against the instrument, every bad field told at once."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from marshmallow import ValidationError
from sqlalchemy.orm import Session

from shimstock_calc.conformity import standard_uncertainty
from shimstock_calc.errors import Contradiction
from shimstock_calc.neck import string_line
from shimstock_calc.plan import model as plan_model
from shimstock_calc.plan.model import SpecItem
from shimstock_calc.vocabulary import GEOMETRY
from shimstock_server.catalogue import KIND_OF_VALUE, plausible_range
from shimstock_server.database.tables.bench import Reading
from shimstock_server.database.tables.catalogue import InstrumentModel
from shimstock_server.database.tables.shop import Tool
from shimstock_server.database.words import Kind, Method, Quantity, Side
from shimstock_server.learning import Repeatability, bench_repeatabilities
from shimstock_server.web.problems import InvalidFields
from shimstock_server.web.quantities import KINDS, read_quantity
from shimstock_server.web.schemas import field_errors

OCTAVE = 12
UNNAMED_TOOL = 0.03


@dataclass(frozen=True)
class Frame:
    """What readings and adjustments must fit: strings, frets, pickups, bridge, rod, and the geometry that
    readings can contradict."""

    kind: Kind
    strings: int
    frets: int
    pickups: tuple[str, ...]
    scale_bass: float
    scale_treble: float
    body_joint_fret: float | None
    bridge: str | None
    rod: str | None

    @classmethod
    def of_row(cls, model: InstrumentModel) -> Frame:
        """The frame of an instrument of the catalogue."""
        return cls(
            model.kind,
            model.strings,
            model.frets,
            tuple(pickup["name"] for pickup in model.pickups),
            model.scale_bass,
            model.scale_treble,
            model.body_joint_fret,
            model.bridge.get("kind"),
            model.truss_rod.get("kind"),
        )

    @classmethod
    def of_plan(cls, instrument: plan_model.Instrument) -> Frame:
        """The frame of an instrument as the plan takes it."""
        return cls(
            Kind(instrument.kind),
            len(instrument.strings),
            instrument.frets,
            tuple(pickup.name for pickup in instrument.pickups),
            instrument.scale_bass,
            instrument.scale_treble,
            instrument.body_joint_fret,
            instrument.bridge.kind,
            instrument.rod.kind,
        )


@dataclass(frozen=True)
class DescribedTool:
    """A measuring tool that stands in a request; sizes in mm or cents."""

    id: UUID
    name: str
    quantities: tuple[str, ...]
    resolution: float
    repeatability: float | None
    offset: plan_model.BenchOffset | None = None


def read_readings(
    session: Session,
    frame: Frame,
    spec: tuple[SpecItem, ...],
    wish: dict[str, Any],
    *,
    bench_id: UUID | None = None,
    tools: Mapping[str, DescribedTool] | None = None,
) -> list[Reading]:
    """Turn the readings of a sheet into rows.

    Parameters
    ----------
    frame : Frame
        What they must fit.
    spec : tuple of SpecItem
        Where hold frets and reading fret are taken from when they are left out.
    wish : dict
        A sheet as its schema loads it.
    bench_id : UUID or None
        The bench that reads: how well a study found it to repeat goes before the tool's own figure.
    tools : mapping, optional
        Tools by the names that `tool` may give in the place of `tool_id`.

    Raises
    ------
    InvalidFields
        With every bad field at once.
    """
    reader = _SheetReader(session, frame, spec, wish, bench_id, named=tools or {})
    readings = [reader.read(number, dict(sent)) for number, sent in enumerate(wish["readings"])]
    reader.check_findings(wish["findings"])
    if not reader.errors:
        reader.check_contradictions([reading for reading in readings if reading is not None])
    if reader.errors:
        bad = {error["pointer"].split("/")[2] for error in reader.errors if "/readings/" in error["pointer"]}
        detail = (
            f"{len(bad)} of {len(readings)} readings cannot be taken; nothing was stored."
            if bad
            else "Some fields cannot be taken; nothing was stored."
        )
        raise InvalidFields(detail, errors=reader.errors)
    return [reading for reading in readings if reading is not None]


class _SheetReader:
    """Reads the readings of one sheet, collecting what is wrong with them."""

    def __init__(
        self,
        session: Session,
        frame: Frame,
        spec: tuple[SpecItem, ...],
        wish: dict[str, Any],
        bench_id: UUID | None,
        *,
        named: Mapping[str, DescribedTool],
    ) -> None:
        self.studied = bench_repeatabilities(session, bench_id)
        self.session, self.frame, self.spec = session, frame, spec
        self.wish = wish
        self.errors: list[dict[str, str]] = []
        self.tools: dict[UUID, Tool | None] = {}
        self.named = named
        self.sheet_tool = self._tool(wish, "")

    def read(self, number: int, sent: dict[str, Any]) -> Reading | None:
        """Read one reading; None when it cannot be taken."""
        before = len(self.errors)
        quantity: Quantity = sent["quantity"]
        at = f"/readings/{number}"
        self._check_place(at, quantity, sent)
        self._fill_from_spec(quantity, sent)
        self._check_frets(at, quantity, sent)
        value, typed_value, typed_unit = self._value(at, quantity, sent)
        own = self._tool(sent, at)
        tool = own or self._sheet_tool_for(quantity)
        if own is not None and quantity.value not in own.quantities:
            field = "tool" if sent["tool_id"] is None else "tool_id"
            self._wrong(f"{at}/{field}", f"{own.name} does not measure {quantity.value.replace('-', ' ')}")
        if sent["accepted"] and not sent["note"]:
            self._wrong(f"{at}/note", "say why a reading that is too close to call is accepted")
        if len(self.errors) > before:
            return None
        held = sent["held"] or []
        studied = self.studied.get((quantity, tool.id if tool is not None else None))
        return Reading(
            number=number,
            quantity=quantity,
            side=sent["side"],
            string=sent["string"],
            pickup=sent["pickup"],
            fret=sent["fret"],
            hold_low=held[0] if held else None,
            hold_high=held[1] if len(held) > 1 else None,
            capo=sent["capo"],
            method=sent["method"],
            value=value,
            typed_value=typed_value,
            typed_unit=typed_unit,
            zero_or_less=sent["zero_or_less"],
            tool_id=tool.id if tool is not None else None,
            tool_name=tool.name if tool is not None else None,
            resolution=tool.resolution if tool is not None else None,
            repeatability=_repeatability(studied, tool),
            repeatability_source=studied.source if studied is not None else None,
            confirmed=sent["confirmed"],
            accepted=sent["accepted"],
            note=sent["note"],
        )

    def check_findings(self, findings: list[dict[str, Any]]) -> None:
        """Refuse findings at strings and frets that the instrument does not have."""
        for number, finding in enumerate(findings):
            if finding["string"] is not None:
                self._check_string(f"/findings/{number}/string", finding["string"])
            if finding["fret"] is not None and finding["fret"] > self.frame.frets:
                self._wrong(f"/findings/{number}/fret", self._fret_message(finding["fret"], 0))

    def check_contradictions(self, readings: list[Reading]) -> None:
        """Refuse readings that cannot all be true: a slot or saddle below the board, a string on a fret."""
        joint = self.frame.body_joint_fret
        if joint is None:
            return
        for side in Side:
            found = {
                reading.quantity: reading
                for reading in readings
                if self._side_of(reading) in (side, None) and self._plain(reading)
            }
            three = [found.get(Quantity(each)) for each in GEOMETRY]
            if any(each is None for each in three) or all(each.confirmed for each in three if each):
                continue
            relief, nut_action, action = (each for each in three if each is not None)
            scale = self.frame.scale_bass if side is Side.BASS else self.frame.scale_treble
            try:
                string_line(
                    relief.value,
                    nut_action.value,
                    action.value,
                    scale_length=scale,
                    body_joint_fret=joint,
                    held=(relief.hold_low or 0, relief.hold_high or self.frame.frets),
                    fret=relief.fret or OCTAVE,
                    action_fret=action.fret or OCTAVE,
                    slack=2.0 * max(_uncertainty(each) for each in (relief, nut_action, action)),
                )
            except Contradiction as contradiction:
                blamed = {"relief": relief, "nut_action": nut_action}.get(contradiction.field or "", action)
                self._wrong(
                    f"/readings/{blamed.number}/value",
                    f"{contradiction.message} (with relief, nut action and action of the {side} side); "
                    "read again, or confirm all three",
                )

    def _wrong(self, pointer: str, message: str) -> None:
        self.errors.append({"pointer": pointer, "message": message})

    def _tool(self, sent: Mapping[str, Any], at: str) -> Tool | DescribedTool | None:
        """The tool that a sheet or a reading names, by its id or by its name."""
        tool_id, name = sent["tool_id"], sent.get("tool")
        if name is not None:
            return self._tool_named(name, at, beside=tool_id is not None)
        if tool_id is None:
            return None
        if tool_id not in self.tools:
            self.tools[tool_id] = self.session.get(Tool, tool_id)
        tool = self.tools[tool_id]
        if tool is None:
            self._wrong(f"{at}/tool_id", "no tool of this shop has this id")
        return tool

    def _tool_named(self, name: str, at: str, *, beside: bool) -> DescribedTool | None:
        tool = self.named.get(name)
        if beside:
            self._wrong(f"{at}/tool", "give tool or tool_id, not both")
        elif tool is None:
            known = ", ".join(self.named) or "none"
            self._wrong(f"{at}/tool", f"`tools` describes {known}; {name} was given")
        return tool

    def _sheet_tool_for(self, quantity: Quantity) -> Tool | DescribedTool | None:
        tool = self.sheet_tool
        return tool if tool is not None and quantity.value in tool.quantities else None

    def _check_place(self, at: str, quantity: Quantity, sent: dict[str, Any]) -> None:
        side, string, pickup = sent["side"], sent["string"], sent["pickup"]
        if string is not None:
            self._check_string(f"{at}/string", string)
        if side is not None and string is not None:
            self._wrong(f"{at}/side", "name the side or the string, not both")
        if quantity.term.place == "string" and string is None:
            self._wrong(
                f"{at}/string", f"{quantity.value.replace('-', ' ')} is read string by string: name it"
            )
        if quantity.term.place == "side or string" and side is None and string is None:
            self._wrong(f"{at}/side", "name the side, bass or treble, or the string")
        if quantity.term.place == "across" and (side is not None or string is not None):
            self._wrong(
                f"{at}/side", f"{quantity.term.name} is the difference of both sides and has none itself"
            )
        if quantity is Quantity.PICKUP_HEIGHT:
            if pickup is None and len(self.frame.pickups) == 1:
                sent["pickup"] = self.frame.pickups[0]
            elif pickup not in self.frame.pickups:
                known = ", ".join(self.frame.pickups) or "none"
                self._wrong(f"{at}/pickup", f"name one of this instrument's pickups: {known}")
        elif pickup is not None:
            self._wrong(f"{at}/pickup", "only a pickup height has this")

    def _check_string(self, pointer: str, string: int) -> None:
        if not 1 <= string <= self.frame.strings:
            self._wrong(
                pointer,
                f"this instrument has {self.frame.strings} strings, "
                f"1 to {self.frame.strings}; {string} was given",
            )

    def _fret_message(self, fret: int, lowest: int) -> str:
        return f"this instrument has frets {lowest} to {self.frame.frets}; {fret} was given"

    def _fill_from_spec(self, quantity: Quantity, sent: dict[str, Any]) -> None:
        """Take hold frets and reading fret from the spec where the bench left them out."""
        items = [item for item in self.spec if item.quantity == quantity.value]
        item = next(
            (each for each in items if each.side == sent["side"] and each.string == sent["string"]),
            items[0] if items else None,
        )
        usual = None if quantity is Quantity.RELIEF else quantity.term.fret
        if quantity is Quantity.RELIEF:
            sent["method"] = sent["method"] or Method.STRING
        if item is None:
            if sent["fret"] is None:
                sent["fret"] = usual
            return
        if sent["fret"] is None and quantity.term.fret is not None:
            sent["fret"] = item.fret or usual
        if sent["held"] is None and quantity in (Quantity.RELIEF, Quantity.PICKUP_HEIGHT):
            sent["held"] = [fret for fret in item.held if fret is not None]

    def _check_frets(self, at: str, quantity: Quantity, sent: dict[str, Any]) -> None:
        fret, held, capo = sent["fret"], sent["held"] or [], sent["capo"]
        if fret is not None and not 1 <= fret <= self.frame.frets:
            self._wrong(f"{at}/fret", self._fret_message(fret, 1))
        for place, hold in enumerate(held):
            if not 0 <= hold <= self.frame.frets:
                self._wrong(f"{at}/held/{place}", self._fret_message(hold, 0))
        if capo is not None:
            if quantity is not Quantity.ACTION:
                self._wrong(f"{at}/capo", "only an action is read with a capo")
            elif not 1 <= capo < (fret or OCTAVE):
                self._wrong(f"{at}/capo", "the capo sits between the nut and the fret that is read")
        self._check_held(at, quantity, sent, held)

    def _check_held(self, at: str, quantity: Quantity, sent: dict[str, Any], held: list[int]) -> None:
        fret = sent["fret"]
        if quantity is Quantity.RELIEF:
            if len(held) != 2:
                self._wrong(f"{at}/held", "name the two frets at which the string is held, such as [1, 22]")
            elif fret is None:
                self._wrong(f"{at}/fret", "name the fret at which relief is read")
            elif not held[0] < fret < held[1]:
                self._wrong(f"{at}/fret", f"relief is read between the hold frets {held[0]} and {held[1]}")
        elif quantity is Quantity.NUT_ACTION:
            if held not in ([], [3]):
                self._wrong(
                    f"{at}/held", "leave it out for the open string, or [3] for the gap with fret 3 held"
                )
        elif quantity is Quantity.PICKUP_HEIGHT:
            if not held:
                sent["held"] = [self.frame.frets]
        elif held:
            self._wrong(f"{at}/held", "only relief, nut action and pickup height are read with frets held")

    def _value(self, at: str, quantity: Quantity, sent: dict[str, Any]) -> tuple[float, float, str]:
        kind = KINDS[KIND_OF_VALUE[quantity]]
        if sent["zero_or_less"]:
            if quantity is not Quantity.RELIEF or sent["method"] is not Method.STRING:
                self._wrong(f"{at}/zero_or_less", "only relief by the string method can be zero or less")
            if sent["value"] is not None:
                self._wrong(f"{at}/value", "zero or less has no value")
            return 0.0, 0.0, str(kind.unit)
        if sent["value"] is None:
            self._wrong(f"{at}/value", "is required, such as " + f'{{"value": 1.7, "unit": "{kind.unit}"}}')
            return 0.0, 0.0, str(kind.unit)
        try:
            read = read_quantity(sent["value"], kind)
        except ValidationError as error:
            where = at.strip("/").split("/")
            self.errors.extend(field_errors(error.messages, *where, "value"))
            return 0.0, 0.0, str(kind.unit)
        low, high = plausible_range(quantity, self.frame.kind)
        if not low - 1e-9 <= read.value <= high + 1e-9 and not sent["confirmed"]:
            self._wrong(
                f"{at}/value",
                f"{kind.words} from {low:g} to {high:g} {kind.unit} is plausible; "
                f"{read.value:.4g} {kind.unit} was given: read again, or confirm it",
            )
        if quantity is Quantity.RELIEF and sent["method"] is Method.STRING and read.value <= 0:
            self._wrong(
                f"{at}/value",
                "the string method shows nothing below zero: say zero_or_less instead of a value, "
                "or use a straightedge",
            )
        return read.value, read.typed_value, str(read.typed_unit)

    def _side_of(self, reading: Reading) -> Side | None:
        if reading.side is not None:
            return reading.side
        if reading.string == 1:
            return Side.TREBLE
        if reading.string == self.frame.strings:
            return Side.BASS
        return None

    def _plain(self, reading: Reading) -> bool:
        """Whether a reading can be put into the geometry as it stands."""
        if reading.quantity is Quantity.RELIEF:
            return not reading.zero_or_less and reading.hold_high is not None and reading.fret is not None
        if reading.string is not None and self._side_of(reading) is None:
            return False
        if reading.quantity is Quantity.NUT_ACTION:
            return reading.hold_low is None
        return reading.quantity is Quantity.ACTION and reading.capo is None


def _repeatability(studied: Repeatability | None, tool: Tool | DescribedTool | None) -> float | None:
    """What the bench's study found goes before what the tool is known for."""
    if studied is not None:
        return studied.value
    return None if tool is None else tool.repeatability


def _uncertainty(reading: Reading) -> float:
    """Standard uncertainty of a height, that of feelers where no tool is named [mm]."""
    if reading.repeatability is None and reading.resolution is None:
        return UNNAMED_TOOL
    return float(standard_uncertainty(reading.repeatability, reading.resolution))
