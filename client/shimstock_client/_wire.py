"""Between Python's values and the JSON that travels: bodies out, typed records in."""

from __future__ import annotations

import enum
import json
import math
import types
import typing
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass, field, fields, is_dataclass
from datetime import UTC, date, datetime
from functools import cache
from typing import Any, TypeVar
from uuid import UUID

from ._errors import BadAnswer
from ._quantity import Quantity

R = TypeVar("R", bound="Record")


def parse_json(text: str | bytes) -> Any:
    """Parse JSON as RFC 8259 has it; numbers are finite.

    Raises
    ------
    ValueError
        When it is no JSON, holds NaN or a number beyond all measures, or is nested too deeply.
    """
    try:
        return json.loads(text, parse_constant=_finite, parse_float=_finite)
    except RecursionError:
        raise ValueError("it is nested too deeply") from None


def _finite(text: str) -> float:
    number = float(text)
    if not math.isfinite(number):
        raise ValueError(f"{text} is no number that can be stored")
    return number


class Absent(enum.Enum):
    """Stands for a field that is not sent at all, where None would say "empty it"."""

    ABSENT = "absent"


ABSENT = Absent.ABSENT

UNKNOWN: Any = ""
"""A word that the service has not told."""
empty: Any = dict
"""Makes a dictionary that the service has not told."""


def to_wire(value: Any, name: str = "value") -> Any:
    """Turn a value into what `json` can write.

    Parameters
    ----------
    value : object
        None, bool, number, text, Quantity, UUID, aware datetime, date, mapping, sequence, or a dataclass of
        them. Dataclasses leave out what is None or ABSENT; mappings leave out what is ABSENT [-].
    name : str
        The field, for the message [-].

    Returns
    -------
    object
        Of JSON's own types [-].

    Raises
    ------
    ValueError
        When a time has no zone.
    TypeError
        When the value cannot travel.
    """
    if value is None or isinstance(value, bool | int | float | str):
        return str(value) if isinstance(value, enum.Enum) else value
    if isinstance(value, Quantity):
        return value.wire()
    if isinstance(value, UUID):
        return str(value)
    if isinstance(value, datetime):
        return instant_to_wire(value, name)
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, Record):
        raise TypeError(f"{name}: an answer of the service cannot be sent back; name its fields or its id")
    if is_dataclass(value) and not isinstance(value, type):
        named = {one.name: getattr(value, one.name) for one in fields(value)}
        return {
            key: to_wire(each, key) for key, each in named.items() if each is not None and each is not ABSENT
        }
    if isinstance(value, Mapping):
        return {str(key): to_wire(each, str(key)) for key, each in value.items() if each is not ABSENT}
    if isinstance(value, Sequence | set | frozenset) and not isinstance(value, bytes | bytearray):
        return [to_wire(each, f"{name}[{index}]") for index, each in enumerate(value)]
    raise TypeError(f"{name}: {type(value).__name__} cannot be sent")


def instant_to_wire(value: datetime, name: str = "value") -> str:
    """Write a time in UTC, ending in Z.

    Raises
    ------
    ValueError
        When the time has no zone.

    >>> instant_to_wire(datetime(2026, 1, 15, 10, 30, tzinfo=UTC))
    '2026-01-15T10:30:00.000Z'
    """
    if value.tzinfo is None:
        raise ValueError(f"{name}: a time needs its zone, e.g. datetime.now(UTC)")
    return value.astimezone(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


@dataclass(kw_only=True, repr=False, eq=False)
class Record:
    """An answer of the service. Fields that this version does not know stay in `raw`."""

    raw: dict[str, Any] = field(default_factory=dict, repr=False, compare=False)
    """The whole JSON object."""
    etag: str | None = field(default=None, repr=False, compare=False)
    """What a later edit must match; None for an object out of a list."""

    # one of each for all records, as a dataclass that writes its own takes three times as long to load
    def __eq__(self, other: object) -> bool:
        if type(self) is not type(other):
            return NotImplemented
        return all(getattr(self, one.name) == getattr(other, one.name) for one in fields(self) if one.compare)

    def __repr__(self) -> str:
        told = (f"{one.name}={getattr(self, one.name)!r}" for one in fields(self) if one.repr)
        return f"{type(self).__name__}({', '.join(told)})"

    __hash__ = None  # type: ignore[assignment]

    @classmethod
    def from_wire(cls: type[R], data: Any, *, etag: str | None = None) -> R:
        """Read a record from parsed JSON; unknown members stay in `raw`, missing ones get their default.

        Raises
        ------
        BadAnswer
            When it is no object, or a member is not of its kind.
        """
        try:
            return typing.cast(R, _read_record(cls, data, "", etag))
        except ValueError as error:
            raise BadAnswer(f"{cls.__name__}: {error}; is this address the service?") from error


@dataclass(kw_only=True, repr=False, eq=False)
class Stored(Record):
    """Something that the service keeps under an id."""

    id: str = ""
    version: int | None = None
    created_at: datetime | None = None
    updated_at: datetime | None = None


@cache
def _annotations(record: Hashable) -> dict[str, Any]:
    kind = typing.cast(type[Record], record)
    hints = typing.get_type_hints(kind)
    return {one.name: hints[one.name] for one in fields(kind) if one.name not in {"raw", "etag"}}


def read_as(annotation: Any, value: Any, where: str) -> Any:
    """Return a value out of JSON as what an annotation says; None stays None.

    Raises
    ------
    ValueError
        When it is of another kind, naming where.
    """
    if value is None or annotation is Any:
        return value
    origin = typing.get_origin(annotation)
    if origin in (typing.Union, types.UnionType):
        inner = [one for one in typing.get_args(annotation) if one is not type(None)]
        return read_as(inner[0], value, where)
    if origin is list and isinstance(value, list):
        (item,) = typing.get_args(annotation)
        return [read_as(item, each, f"{where}[{index}]") for index, each in enumerate(value)]
    if origin is dict and isinstance(value, dict):
        _, item = typing.get_args(annotation)
        return {key: read_as(item, each, f"{where}.{key}") for key, each in value.items()}
    annotation = _kind_of(annotation, origin)
    if annotation is float and isinstance(value, int) and not isinstance(value, bool):
        return _as_float(value, where)
    if isinstance(annotation, type) and isinstance(value, Mapping):
        if issubclass(annotation, Record):
            return _read_record(annotation, value, f"{where}.", None)
        if annotation is Quantity:
            return _read_quantity(value, where)
    if annotation in (datetime, date) and isinstance(value, str):
        return _read_time(annotation, value, where)
    kind = origin if origin in (list, dict) else annotation
    if not isinstance(value, kind) or (isinstance(value, bool) and kind is not bool):
        raise ValueError(f"{where}: {_SAID.get(kind, 'an object')} was expected, not {_shortened(value)}")
    return value


def _kind_of(annotation: Any, origin: Any) -> Any:
    """Return the type that values have; a word that this release does not know is passed on as it is."""
    if origin is typing.Literal:
        return type(typing.get_args(annotation)[0])
    return dict if typing.is_typeddict(annotation) else annotation


_SAID: dict[Any, str] = {
    str: "a text", bool: "true or false", int: "a whole number", float: "a number", list: "a list",
    datetime: "a date and time", date: "a date",
}  # fmt: skip


def _shortened(value: Any) -> str:
    text = "an object" if isinstance(value, dict) else "a list" if isinstance(value, list) else repr(value)
    return text if len(text) <= 60 else f"{text[:60]}…"


def _read_record(record: type[Record], data: Any, where: str, etag: str | None) -> Record:
    if not isinstance(data, Mapping):
        raise ValueError(
            f"{where.rstrip('.') or 'the whole'}: an object was expected, not {_shortened(data)}"
        )
    known: dict[str, Any] = {}
    for name, annotation in _annotations(typing.cast(Hashable, record)).items():
        wire_name = name.rstrip("_")
        if data.get(wire_name) is not None:
            known[name] = read_as(annotation, data[wire_name], where + wire_name)
    return record(raw=dict(data), etag=etag, **known)


def _as_float(value: int, where: str) -> float:
    try:
        return float(value)
    except OverflowError:
        raise ValueError(f"{where}: a number beyond all measures was given") from None


def _read_quantity(value: Mapping[str, Any], where: str) -> Quantity | None:
    number = value.get("value")
    if number is None:
        return None
    try:
        return Quantity(number, value.get("unit", ""))
    except ValueError as error:
        raise ValueError(f"{where}.{error}") from error


def _read_time(kind: type[date], value: str, where: str) -> date:
    try:
        return kind.fromisoformat(value)
    except ValueError as error:
        raise ValueError(f"{where}: {_SAID[kind]} was expected, not {_shortened(value)}") from error
