"""Lists of absences, made by client/generate.py: do not edit."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Unpack

from ..._collection import Listed
from ..._writes import WriteOptions
from ..records.absences import Absence

if TYPE_CHECKING:
    from ..bodies.absences import AbsencesFilters


class Absences(Listed[Absence]):
    """`/v1/absences`."""

    _path = "/absences"
    _record = Absence

    def list(self, **filters: Unpack[AbsencesFilters]) -> Iterator[Absence]:
        """Walk all of them, page after page; `limit` = rows a page."""
        return self._walk({**filters})

    def delete(self, thing: Absence, **call: Unpack[WriteOptions]) -> None:
        """Delete one."""
        self._delete(thing, **call)
