"""Lists of reminders, made by client/generate.py: do not edit."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Unpack

from ..._collection import Listed
from ..records.reminders import Reminder

if TYPE_CHECKING:
    from ..bodies.reminders import RemindersFilters


class Reminders(Listed[Reminder]):
    """`/v1/reminders`."""

    _path = "/reminders"
    _record = Reminder

    def list(self, **filters: Unpack[RemindersFilters]) -> Iterator[Reminder]:
        """Walk all of them, page after page; `limit` = rows a page."""
        return self._walk({**filters})
