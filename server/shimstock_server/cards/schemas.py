"""The card as data."""

from __future__ import annotations

from shimstock_server.bench import BelievedOut
from shimstock_server.database.words import JobState, Kind, Quantity, Side
from shimstock_server.web.fields import Choice, Day, Id, ListOf, Nested, Number, Text, Truth, Whole
from shimstock_server.web.quantities import QuantityOut
from shimstock_server.web.schemas import StrictSchema

SENTENCE = 4000


class CardShopOut(StrictSchema):
    """The shop."""

    name = Text(max=200, required=True)
    place = Text(max=200, allow_none=True, required=True)


class CardRoomOut(StrictSchema):
    """The room's air at the last readings."""

    temperature = QuantityOut("temperature", required=True)
    relative_humidity = QuantityOut("relative-humidity", required=True)


class CardJobOut(StrictSchema):
    """The job, its owner's name and its days, in the shop's time zone."""

    id = Id(required=True)
    number = Whole(required=True)
    state = Choice(JobState, required=True)
    owner = Text(max=200, allow_none=True, required=True, metadata={"description": "The owner's name."})
    received_on = Day(allow_none=True, required=True)
    read_before_on = Day(allow_none=True, required=True)
    read_after_on = Day(allow_none=True, required=True)
    ready_on = Day(allow_none=True, required=True)
    final = Truth(
        required=True,
        metadata={
            "description": "Whether the work is done and nothing was moved after it was last read; before "
            "that the card is provisional."
        },
    )
    room = Nested(CardRoomOut, allow_none=True, required=True)


class CardInstrumentOut(StrictSchema):
    """The instrument, and the strings that were on it at the last readings."""

    maker = Text(max=200, required=True)
    model = Text(max=200, required=True)
    kind = Choice(Kind, required=True)
    nickname = Text(max=200, allow_none=True, required=True)
    serial = Text(max=100, allow_none=True, required=True)
    made_in = Whole(allow_none=True, required=True)
    strings = Text(max=SENTENCE, allow_none=True, required=True)
    strings_fitted_on = Day(allow_none=True, required=True)
    tuning = Text(max=200, allow_none=True, required=True)


class CardLookOut(StrictSchema):
    """What was read, converted to the spec's frets, and its verdict."""

    value = QuantityOut(kind_from="kind", allow_none=True, required=True)
    uncertainty = QuantityOut(kind_from="kind", allow_none=True, required=True)
    probability = Number(
        allow_none=True,
        required=True,
        metadata={"description": "That the true value lies inside the limits."},
    )
    verdict = Choice(("in spec", "out of spec", "too close to call"), allow_none=True, required=True)
    zero_or_less = Truth(required=True)
    accepted = Truth(required=True)
    stale = Truth(required=True)
    reason = Text(max=SENTENCE, allow_none=True, required=True)
    read_on = Day(allow_none=True, required=True)
    now = Nested(
        BelievedOut,
        allow_none=True,
        metadata={
            "description": "What all readings and adjustments of the job together say of the quantity as it "
            "is now; `value` is what the tool showed. Null: before the work, or not known."
        },
    )
    tomorrow = Nested(
        BelievedOut,
        allow_none=True,
        metadata={"description": "The same a day later: a neck goes on moving after a turn of its rod."},
    )


class CardQuantityOut(StrictSchema):
    """One item of the setup spec with its reading before and after."""

    quantity = Choice(Quantity, required=True)
    side = Choice(Side, allow_none=True, required=True)
    string = Whole(allow_none=True, required=True)
    pickup = Text(max=100, allow_none=True, required=True)
    fret = Whole(allow_none=True, required=True)
    held = ListOf(Whole(), required=True)
    name = Text(max=SENTENCE, required=True, metadata={"description": "What is read, and where, in words."})
    target = QuantityOut(kind_from="kind", required=True)
    lower = QuantityOut(kind_from="kind", allow_none=True, required=True)
    upper = QuantityOut(kind_from="kind", allow_none=True, required=True)
    source = Text(max=200, required=True)
    before = Nested(CardLookOut, required=True)
    after = Nested(CardLookOut, required=True)


class CardCautionOut(StrictSchema):
    """What the owner should mind."""

    code = Text(max=60, required=True)
    text = Text(max=SENTENCE, required=True)


class CardOut(StrictSchema):
    """Before and after of a job, in the owner's units and language."""

    job = Nested(CardJobOut, required=True)
    shop = Nested(CardShopOut, required=True)
    instrument = Nested(CardInstrumentOut, required=True)
    language = Text(max=35, required=True)
    summary = Text(max=SENTENCE, required=True)
    quantities = ListOf(Nested(CardQuantityOut), required=True)
    offsets = ListOf(
        Text(max=SENTENCE),
        required=True,
        metadata={
            "description": "Benches whose tools are known to read too high or too low: numbers are as read, "
            "verdicts allow for it."
        },
    )
    done = ListOf(Text(max=SENTENCE), required=True, metadata={"description": "What was done, in words."})
    left = ListOf(
        Text(max=SENTENCE),
        required=True,
        metadata={"description": "What is not in spec, not read or out of reach, why, and what is offered."},
    )
    refused = ListOf(
        Text(max=SENTENCE),
        required=True,
        metadata={"description": "What the owner said no to."},
    )
    next_look = ListOf(Text(max=SENTENCE), required=True)
    cautions = ListOf(Nested(CardCautionOut), required=True)
    picture = Text(max=200_000, required=True, metadata={"description": "SVG: the neck from the side."})
    judgement = Text(max=SENTENCE, required=True)
