"""Strict fields: what the JSON says is what is stored, or the request is refused with a message per field."""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Iterable
from datetime import UTC, date, datetime
from enum import Enum
from typing import Any
from uuid import UUID

import marshmallow
from marshmallow import ValidationError
from marshmallow import fields as base

from .schemas import StrictSchema

__all__ = [
    "Choice",
    "Day",
    "Id",
    "Instant",
    "ListOf",
    "MapOf",
    "Nested",
    "Number",
    "StrictField",
    "StrictSchema",
    "Text",
    "Truth",
    "ValidationError",
    "Whole",
]

_INT32 = 2**31
_UUID = re.compile(r"[0-9a-fA-F]{8}-[0-9a-fA-F]{4}-[0-9a-fA-F]{4}-[0-9a-fA-F]{4}-[0-9a-fA-F]{12}")
_INSTANT = re.compile(r"\d{4}-\d\d-\d\d[Tt]\d\d:\d\d(:\d\d(\.\d{1,6})?)?([Zz]|[+-]\d\d:\d\d)")
_DAY = re.compile(r"\d{4}-\d\d-\d\d")
_JSON_NUMBER = re.compile(r"-?(0|[1-9]\d*)(\.\d+)?([eE][+-]?\d+)?")
_WHOLE = re.compile(r"-?(0|[1-9]\d{0,18})")

MAX_LIST = 500
MOST_MARKS = 30
"""Combining marks (canonical combining class above 0) in a row: Unicode Standard Annex 15, section 13,
Stream-Safe Text Format."""
MOST_COMPOSED = 4
"""Most characters that NFC puts into one (U+1F82 for example): a text with more than so many times those
allowed is too long in any case."""
_DIRECTION_MARKS = "\u202a-\u202e\u2066-\u2069"
# The control characters (category Cc) with and without tab and line end, the surrogates (Cs), and U+FFFE and
# U+FFFF, which no picture can hold (XML 1.0, fifth edition, section 2.2).
_FORBIDDEN = {
    multiline: re.compile(f"[{controls}\ud800-\udfff{_DIRECTION_MARKS}\ufffe\uffff]")
    for multiline, controls in (
        (False, "\x00-\x1f\x7f-\x9f"),
        (True, "\x00-\x08\x0b-\x1f\x7f-\x9f"),
    )
}
FIRST_YEAR, LAST_YEAR = 1900, 2999
"""Of moments and days; beyond it a clock or a hand has slipped, and calendars of other zones end."""

base.Field.default_error_messages.update(
    required="is required", null="must not be null", validator_failed="is not valid"
)


class StrictField(base.Field[Any]):
    """What strict fields share: how they read a query parameter and stand in the OpenAPI document."""

    def from_text(self, text: str) -> Any:
        """Return the JSON value that a query parameter's text stands for."""
        return text

    def openapi(self) -> dict[str, Any]:
        """Return the JSON Schema of this field, without null."""
        raise NotImplementedError


class Text(StrictField):
    """Text in Unicode NFC, trimmed, without control characters.

    Parameters
    ----------
    max : int
        Most characters.
    min : int
        Fewest characters.
    multiline : bool
        Whether line ends and tabs are allowed.
    pattern : str, optional
        A regular expression that the whole text must match.
    pattern_hint : str, optional
        The pattern in words, for the message.
    """

    def __init__(
        self,
        *,
        max: int = 200,  # noqa: A002 - reads as in Text(max=80)
        min: int = 1,  # noqa: A002
        multiline: bool = False,
        pattern: str | None = None,
        pattern_hint: str | None = None,
        **kwargs: Any,
    ) -> None:
        self.max, self.min, self.multiline = max, min, multiline
        self.pattern = pattern
        self.pattern_hint = pattern_hint or (f"must match {pattern}" if pattern else "")
        super().__init__(**kwargs)

    def _deserialize(self, value: Any, *_args: Any, **_kwargs: Any) -> str:
        if not isinstance(value, str):
            raise ValidationError("must be text")
        text = clean_text(value, max=self.max, multiline=self.multiline)
        if len(text) < self.min:
            raise ValidationError(
                "must not be empty" if self.min == 1 else f"must have at least {self.min} characters"
            )
        if self.pattern and not re.fullmatch(self.pattern, text):
            raise ValidationError(self.pattern_hint)
        return text

    def openapi(self) -> dict[str, Any]:
        """Return the JSON Schema of this field."""
        schema: dict[str, Any] = {"type": "string", "maxLength": self.max}
        if self.min:
            schema["minLength"] = self.min
        if self.pattern:
            schema["pattern"] = f"^(?:{self.pattern})$" if "|" in self.pattern else f"^{self.pattern}$"
        return schema


def clean_text(
    value: str,
    *,
    max: int,  # noqa: A002 - as in Text(max=80)
    multiline: bool = False,
) -> str:
    """Return a text in NFC and trimmed, refusing what a database or a page cannot hold.

    Every text from outside comes through here. Normalising takes time with the square of a run of combining
    marks, and no other thread works meanwhile: length and runs are checked first.

    Parameters
    ----------
    value : str
        As it was sent.
    max : int
        Most characters after normalising.
    multiline : bool
        Whether line ends and tabs are allowed.

    Raises
    ------
    ValidationError
        When it is too long, has more combining marks in a row than any language writes, or holds control
        characters, lone surrogates or characters that turn the reading direction.
    """
    if multiline:
        value = value.replace("\r\n", "\n").replace("\r", "\n")
    if len(value.strip()) > MOST_COMPOSED * max:
        raise ValidationError(f"must have at most {max} characters; {len(value)} were given")
    if found := _FORBIDDEN[multiline].search(value):
        raise ValidationError(_forbidden(found[0]))
    if not value.isascii():
        _refuse_long_runs(value)
    text = unicodedata.normalize("NFC", value).strip()
    if len(text) > max:
        raise ValidationError(f"must have at most {max} characters; {len(text)} were given")
    seen = any(unicodedata.category(character) != "Cf" for character in text)
    return text if seen else ""  # of joiners and marks alone nobody sees anything


def _forbidden(character: str) -> str:
    category = unicodedata.category(character)
    if category == "Cs":
        return "must not hold half of a surrogate pair"
    if category == "Cc":
        return f"must not hold the control character U+{ord(character):04X}"
    if category == "Cf":
        return f"must not hold the direction mark U+{ord(character):04X}"
    return f"must not hold U+{ord(character):04X}, which is no character"


def _refuse_long_runs(text: str) -> None:
    run = 0
    for character in text:
        run = run + 1 if unicodedata.combining(character) else 0
        if run > MOST_MARKS:
            raise ValidationError(f"must not hold more than {MOST_MARKS} combining marks in a row")


class Whole(StrictField):
    """A whole number, of at most 32 bits unless it says otherwise: what the databases' columns hold."""

    def __init__(
        self,
        min: int = -_INT32,  # noqa: A002
        max: int = _INT32 - 1,  # noqa: A002
        **kwargs: Any,
    ) -> None:
        self.min, self.max = min, max
        super().__init__(**kwargs)

    def _deserialize(self, value: Any, *_args: Any, **_kwargs: Any) -> int:
        if isinstance(value, bool) or not isinstance(value, int):
            raise ValidationError("must be a whole number")
        if not self.min <= value <= self.max:
            raise ValidationError(_wanted(self.min, self.max, -_INT32, _INT32 - 1))
        return value

    def from_text(self, text: str) -> Any:
        """Return the number that a query parameter's text stands for."""
        return int(text) if _WHOLE.fullmatch(text) else text

    def openapi(self) -> dict[str, Any]:
        """Return the JSON Schema of this field."""
        schema: dict[str, Any] = {"type": "integer", "minimum": self.min, "maximum": self.max}
        if (self.min, self.max) == (-_INT32, _INT32 - 1):
            schema["format"] = "int32"
        return schema


class Number(StrictField):
    """A finite number. For a measured value use a quantity instead."""

    def __init__(
        self,
        min: float = -1e15,  # noqa: A002
        max: float = 1e15,  # noqa: A002
        **kwargs: Any,
    ) -> None:
        self.min, self.max = min, max
        super().__init__(**kwargs)

    def _deserialize(self, value: Any, *_args: Any, **_kwargs: Any) -> float:
        number = finite_number(value)
        if not self.min <= number <= self.max:
            raise ValidationError(_wanted(self.min, self.max, -1e15, 1e15))
        return number

    def from_text(self, text: str) -> Any:
        """Return the number that a query parameter's text stands for."""
        return float(text) if len(text) <= 40 and _JSON_NUMBER.fullmatch(text) else text

    def openapi(self) -> dict[str, Any]:
        """Return the JSON Schema of this field."""
        return {"type": "number", "minimum": self.min, "maximum": self.max}


def finite_number(value: Any) -> float:
    """Return a JSON number as a float, refusing everything else."""
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        raise ValidationError("must be a number")
    number = float(value)
    if not math.isfinite(number):
        raise ValidationError("must be a finite number")
    return number


def _wanted(low: float, high: float, lowest: float, highest: float) -> str:
    if low > lowest and high < highest:
        return f"must be from {low:,.10g} to {high:,.10g}".replace(",", "")
    return f"must be at least {low:.10g}" if low > lowest else f"must be at most {high:.10g}"


class Truth(StrictField):
    """true or false."""

    def _deserialize(self, value: Any, *_args: Any, **_kwargs: Any) -> bool:
        if not isinstance(value, bool):
            raise ValidationError("must be true or false")
        return value

    def from_text(self, text: str) -> Any:
        """Return the truth that a query parameter's text stands for."""
        return {"true": True, "false": False}.get(text, text)

    def openapi(self) -> dict[str, Any]:
        """Return the JSON Schema of this field."""
        return {"type": "boolean"}


class Id(StrictField):
    """A UUID in its usual form with hyphens."""

    def _deserialize(self, value: Any, *_args: Any, **_kwargs: Any) -> UUID:
        if not isinstance(value, str) or not _UUID.fullmatch(value):
            raise ValidationError("must be a UUID such as 01890a5d-ac96-774b-bcce-b302099a8057")
        return UUID(value)

    def _serialize(self, value: Any, *_args: Any, **_kwargs: Any) -> str | None:
        return None if value is None else str(value)

    def openapi(self) -> dict[str, Any]:
        """Return the JSON Schema of this field."""
        return {"type": "string", "format": "uuid"}


class Instant(StrictField):
    """A moment: RFC 3339 with an offset; kept and answered in UTC."""

    def _deserialize(self, value: Any, *_args: Any, **_kwargs: Any) -> datetime:
        if not isinstance(value, str) or not _INSTANT.fullmatch(value):
            raise ValidationError("must be a moment with its offset, such as 2026-03-14T09:30:00+01:00")
        try:
            instant = datetime.fromisoformat(value.upper()).astimezone(UTC)
        except (ValueError, OverflowError):
            raise ValidationError("is not a moment that the calendar knows") from None
        _refuse_year(instant.year)
        return instant

    def _serialize(self, value: Any, *_args: Any, **_kwargs: Any) -> str | None:
        return None if value is None else instant_text(value)

    def openapi(self) -> dict[str, Any]:
        """Return the JSON Schema of this field."""
        return {"type": "string", "format": "date-time"}


def _refuse_year(year: int) -> None:
    if not FIRST_YEAR <= year <= LAST_YEAR:
        raise ValidationError(f"must lie in the years {FIRST_YEAR} to {LAST_YEAR}")


def instant_text(instant: datetime) -> str:
    """Return an aware instant in UTC, ending in Z.

    Raises
    ------
    ValueError
        When the instant is naive.
    """
    if instant.tzinfo is None:
        raise ValueError("an instant without an offset must not leave the service")
    return instant.astimezone(UTC).isoformat().replace("+00:00", "Z")


class Day(StrictField):
    """A day in the shop's time zone: YYYY-MM-DD."""

    def _deserialize(self, value: Any, *_args: Any, **_kwargs: Any) -> date:
        if not isinstance(value, str) or not _DAY.fullmatch(value):
            raise ValidationError("must be a day such as 2026-03-14")
        try:
            day = date.fromisoformat(value)
        except ValueError:
            raise ValidationError("is not a day that the calendar knows") from None
        _refuse_year(day.year)
        return day

    def _serialize(self, value: Any, *_args: Any, **_kwargs: Any) -> str | None:
        return None if value is None else value.isoformat()

    def openapi(self) -> dict[str, Any]:
        """Return the JSON Schema of this field."""
        return {"type": "string", "format": "date"}


class Choice(StrictField):
    """One of a few words.

    Parameters
    ----------
    values : type of Enum, or iterable of str
        The words; with an Enum of text values the field loads its members.
    """

    def __init__(self, values: type[Enum] | Iterable[str], **kwargs: Any) -> None:
        if isinstance(values, type) and issubclass(values, Enum):
            self.choices: dict[str, Any] = {str(member.value): member for member in values}
        else:
            self.choices = {value: value for value in values}
        super().__init__(**kwargs)

    def _deserialize(self, value: Any, *_args: Any, **_kwargs: Any) -> Any:
        if not isinstance(value, str) or value not in self.choices:
            raise ValidationError("must be one of " + ", ".join(self.choices))
        return self.choices[value]

    def _serialize(self, value: Any, *_args: Any, **_kwargs: Any) -> str | None:
        if value is None:
            return None
        return str(value.value) if isinstance(value, Enum) else str(value)

    def openapi(self) -> dict[str, Any]:
        """Return the JSON Schema of this field."""
        return {"type": "string", "enum": list(self.choices)}


class ListOf(base.List[Any], StrictField):
    """A list of at most `max` entries of one kind.

    In a query the parameter is repeated, once for each entry.
    """

    def __init__(
        self,
        field: base.Field[Any],
        *,
        max: int = MAX_LIST,  # noqa: A002
        min: int = 0,  # noqa: A002
        unique: bool = False,
        **kwargs: Any,
    ) -> None:
        self.max, self.min, self.unique = max, min, unique
        super().__init__(field, **kwargs)

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> list[Any]:
        if not isinstance(value, list):
            raise ValidationError("must be a list")
        if len(value) > self.max:
            raise ValidationError(f"must have at most {self.max} entries; {len(value)} were given")
        if len(value) < self.min:
            raise ValidationError(f"must have at least {self.min} {'entry' if self.min == 1 else 'entries'}")
        loaded = super()._deserialize(value, attr, data, **kwargs)
        if self.unique:
            twice = {n: ["is there twice"] for n, entry in enumerate(loaded) if entry in loaded[:n]}
            if twice:
                raise ValidationError(twice)
        return loaded

    def _serialize(self, value: Any, attr: str | None, obj: Any, **kwargs: Any) -> list[Any] | None:
        return None if value is None else [self.inner._serialize(each, attr, obj, **kwargs) for each in value]

    def openapi(self) -> dict[str, Any]:
        """Return the JSON Schema of this field, without that of its entries."""
        schema: dict[str, Any] = {"type": "array", "maxItems": self.max}
        if self.min:
            schema["minItems"] = self.min
        if self.unique:
            schema["uniqueItems"] = True
        return schema


class MapOf(StrictField):
    """An object with free names (bounded text) and entries of one kind."""

    def __init__(
        self,
        field: base.Field[Any],
        *,
        names: base.Field[Any] | None = None,
        max: int = MAX_LIST,  # noqa: A002
        **kwargs: Any,
    ) -> None:
        self.inner = field
        self.names = names or Text(max=80)
        self.max = max
        super().__init__(**kwargs)

    def _bind_to_schema(self, field_name: str, parent: Any) -> None:
        super()._bind_to_schema(field_name, parent)
        self.inner._bind_to_schema(field_name, self)

    def _deserialize(self, value: Any, *_args: Any, **_kwargs: Any) -> dict[str, Any]:
        if not isinstance(value, dict):
            raise ValidationError("must be an object")
        if len(value) > self.max:
            raise ValidationError(f"must have at most {self.max} entries; {len(value)} were given")
        loaded: dict[str, Any] = {}
        errors: dict[str, Any] = {}
        for name, entry in value.items():
            try:
                loaded[str(self.names.deserialize(name))] = self.inner.deserialize(entry)
            except ValidationError as error:
                errors[name] = error.messages
        if errors:
            raise ValidationError(errors)
        return loaded

    def _serialize(self, value: Any, attr: str | None, obj: Any, **kwargs: Any) -> dict[str, Any] | None:
        if value is None:
            return None
        return {
            str(name.value if isinstance(name, Enum) else name): self.inner._serialize(
                entry, attr, obj, **kwargs
            )
            for name, entry in value.items()
        }

    def openapi(self) -> dict[str, Any]:
        """Return the JSON Schema of this field, without that of its entries."""
        return {"type": "object", "maxProperties": self.max}


class Nested(base.Nested):
    """An object with a schema of its own, strict like its parent."""

    def __init__(self, nested: type[StrictSchema] | Any, **kwargs: Any) -> None:
        super().__init__(nested, unknown=marshmallow.RAISE, **kwargs)

    def _deserialize(self, value: Any, *args: Any, **kwargs: Any) -> Any:
        if not isinstance(value, dict):
            raise ValidationError("must be an object")
        return super()._deserialize(value, *args, **kwargs)
