"""Numbers, days and names of readings, in the reader's units and language."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from shimstock_calc.plan.words import Measure, Sentence, write_measure, write_turns
from shimstock_server.web.quantities import KINDS, Unit, convert

from .content import Line, Look
from .language import Language

DECIMALS = {
    Unit.MM: 2,
    Unit.THOU: 1,
    Unit.SIXTYFOURTH: 1,
    Unit.INCH: 3,
    Unit.CENTS: 1,
    Unit.CELSIUS: 0,
    Unit.FAHRENHEIT: 0,
    Unit.PERCENT: 0,
}
"""Decimals on the card: always as many in one unit, so that figures stand in line."""

KIND_OF_MEASURE = {
    "saddle-out": "saddle-out",
    "height": "thickness",
    "pull": "tension",
    "frequency": "pitch",
    "humidity": "relative-humidity",
}
"""The kind of quantity of a plan's measure, where it has another name."""


class Speech:
    """How a card speaks to one reader.

    Parameters
    ----------
    words : Language
        The language.
    units : str
        `mm` or `inch`.
    """

    def __init__(self, words: Language, units: str) -> None:
        self.words = words
        self.units = units

    def say(self, section: str, name: str, **values: object) -> str:
        """Return a text of the language."""
        return self.words.say(section, name, **values)

    # ------------------------------------------------------------ numbers

    def unit(self, kind: str) -> str:
        """Return the name of the unit that a kind is told in."""
        return self.say("units", KINDS[kind].out(self.units).value)

    def number(self, kind: str, value: float, *, gauge: bool = False) -> str:
        """Return a value without its unit; 0 has no sign."""
        told = KINDS[kind].out(self.units)
        decimals = 3 if gauge and told is Unit.MM else DECIMALS[told]
        return self._write(convert(value, KINDS[kind].unit, told), decimals)

    def _write(self, number: float, decimals: int) -> str:
        text = f"{number:.{decimals}f}"
        if float(text) == 0:
            text = text.removeprefix("-")
        mark, minus = self.say("numbers", "decimal_mark"), self.say("numbers", "minus")
        return text.replace("-", minus).replace(".", mark)

    def amount(self, kind: str, value: float) -> str:
        """Return a value with its unit; a no-break space keeps them together."""
        return self.with_unit(kind, self.number(kind, value))

    def with_unit(self, kind: str, number: str) -> str:
        """Return a number that is written already, with the unit of its kind."""
        unit = self.unit(kind)
        return f"{number}{unit}" if unit.startswith("/") else f"{number}\u00a0{unit}"

    def turns(self, value: float) -> str:
        """Return turns in eighths without a sign, in hundredths where they are none."""
        size = abs(value)
        if round(size * 8) and abs(size * 8 - round(size * 8)) < 1e-6:
            text = write_turns(size).replace(" ", "\u00a0")
        else:
            text = self._write(size, 2)
        return f"{text}\u00a0{self.say('units', 'turns' if size > 1 else 'turn')}"

    def probability(self, probability: float) -> str:
        """Return a probability in percent, never as certain as 0 or 100."""
        if probability > 0.99:
            return self.say("numbers", "surely")
        if probability < 0.01:
            return self.say("numbers", "hardly")
        return self.say("numbers", "percent", number=round(probability * 100))

    def price(self, amount: float, currency: str) -> str:
        """Return a price."""
        return f"{self._write(amount, 2)}\u00a0{currency}"

    def day(self, day: date) -> str:
        """Return a day in words."""
        month = self.words.months()[day.month - 1]
        return self.say("dates", "pattern", day=day.day, month=month, year=day.year)

    def weekday(self, day: date) -> str:
        """Return a day in words, with the day of the week: for days that somebody plans by."""
        name = self.words.weekdays()[day.weekday()]
        return self.say("dates", "with_weekday", weekday=name, day=self.day(day))

    def sentence(self, sentence: Sentence) -> str:
        """Return a sentence of the plan with its measures in the reader's units."""
        return sentence.text(self._measure)

    def _measure(self, measure: Measure) -> str:
        kind = KIND_OF_MEASURE.get(measure.kind, measure.kind)
        if kind not in KINDS or KINDS[kind].out(self.units) not in DECIMALS:
            return write_measure(measure)
        return self.amount(kind, measure.value)

    def listed(self, texts: Sequence[str]) -> str:
        """Return texts as a list in a sentence."""
        if len(texts) < 2:
            return "".join(texts)
        comma, last = self.say("page", "list_comma"), self.say("page", "and")
        return f"{comma.join(texts[:-1])} {last} {texts[-1]}"

    # ------------------------------------------------------------ readings

    def reading(self, line: Line) -> str:
        """Return the name of a reading: what, and where."""
        places = []
        if line.pickup is not None:
            places.append(self.say("place", "pickup", pickup=line.pickup))
        if line.side is not None:
            places.append(self.say("place", line.side))
        if line.string is not None:
            places.append(self.say("place", "string", number=line.string))
        comma = self.say("page", "list_comma")
        return comma.join([self.say("quantity", line.quantity), *places])

    def explained(self, line: Line, frets: int) -> str:
        """Return what a reading is, in a few words."""
        low, high = line.held if len(line.held) == 2 else (1, frets)
        fret = line.fret or (8 if line.quantity == "relief" else 12)
        return self.say("explained", line.quantity, fret=fret, low=low, high=high)

    def limits(self, line: Line) -> str:
        """Return the limits of a reading, without their unit."""
        kind = line.quantity
        low = None if line.lower is None else self.number(kind, line.lower)
        high = None if line.upper is None else self.number(kind, line.upper)
        if low is not None and high is not None:
            return self.say("table", "both_limits", low=low, high=high)
        if low is not None:
            return self.say("table", "at_least", low=low)
        return self.say("table", "at_most", high=high) if high is not None else ""

    def value(self, line: Line, look: Look) -> str:
        """Return what was read, without its unit."""
        if look.zero_or_less:
            return self.say("table", "zero_or_less")
        return self.say("table", "not_read") if look.value is None else self.number(line.quantity, look.value)

    def verdict(self, look: Look) -> str:
        """Return a verdict in words; nothing when nothing was read."""
        if look.verdict is None:
            return self.say("verdict", "none") if look.is_read else ""
        if look.verdict == "too close to call" and look.accepted:
            return self.say("verdict", "accepted")
        return self.say("verdict", look.verdict)
