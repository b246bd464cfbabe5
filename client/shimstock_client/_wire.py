"""Between Python's values and the JSON that travels: bodies out, typed records in."""

from __future__ import annotations

import enum
import types
import typing
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass, field, fields, is_dataclass
from datetime import UTC, date, datetime
from functools import cache
from typing import Any, TypeVar
from uuid import UUID

from ._quantity import Quantity

R = TypeVar("R", bound="Record")


class Absent(enum.Enum):
    """Stands for a field that is not sent at all, where None would say "empty it"."""

    ABSENT = "absent"


ABSENT = Absent.ABSENT


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


@dataclass(kw_only=True)
class Record:
    """An answer of the service. Fields that this version does not know stay in `raw`."""

    raw: dict[str, Any] = field(default_factory=dict, repr=False, compare=False)
    """The whole JSON object."""
    etag: str | None = field(default=None, repr=False, compare=False)
    """What a later edit must match; None for an object out of a list."""

    @classmethod
    def from_wire(cls: type[R], data: Mapping[str, Any], *, etag: str | None = None) -> R:
        """Read a record from parsed JSON; unknown members stay in `raw`, missing ones get their default."""
        known: dict[str, Any] = {}
        for name, annotation in _annotations(typing.cast(Hashable, cls)).items():
            wire_name = name.rstrip("_")
            if data.get(wire_name) is not None:
                known[name] = _read(annotation, data[wire_name])
        return cls(raw=dict(data), etag=etag, **known)


@cache
def _annotations(record: Hashable) -> dict[str, Any]:
    kind = typing.cast(type[Record], record)
    hints = typing.get_type_hints(kind)
    return {one.name: hints[one.name] for one in fields(kind) if one.name not in {"raw", "etag"}}


def _read(annotation: Any, value: Any) -> Any:
    if value is None:
        return None
    origin = typing.get_origin(annotation)
    if origin in (typing.Union, types.UnionType):
        inner = [one for one in typing.get_args(annotation) if one is not type(None)]
        return _read(inner[0], value)
    if origin is list:
        (item,) = typing.get_args(annotation)
        return [_read(item, each) for each in value] if isinstance(value, list) else []
    if isinstance(annotation, type):
        return _read_plain(annotation, value)
    return value


def _read_plain(annotation: type, value: Any) -> Any:
    if issubclass(annotation, Record) and isinstance(value, Mapping):
        return annotation.from_wire(value)
    if annotation is Quantity and isinstance(value, Mapping):
        return Quantity(value["value"], value["unit"]) if value.get("value") is not None else None
    if annotation is datetime and isinstance(value, str):
        return datetime.fromisoformat(value)
    if annotation is date and isinstance(value, str):
        return date.fromisoformat(value)
    if annotation is float and isinstance(value, int) and not isinstance(value, bool):
        return float(value)
    return value
