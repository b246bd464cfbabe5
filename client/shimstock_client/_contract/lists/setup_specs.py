"""Lists of setup specs, made by client/generate.py: do not edit."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Unpack

from ..._collection import Listed
from ..records.setup_specs import SetupSpec

if TYPE_CHECKING:
    from ..bodies.setup_specs import SetupSpecsFilters


class SetupSpecs(Listed[SetupSpec]):
    """`/v1/setup-specs`."""

    _path = "/setup-specs"
    _record = SetupSpec

    def list(self, **filters: Unpack[SetupSpecsFilters]) -> Iterator[SetupSpec]:
        """Walk all of them, page after page; `limit` = rows a page."""
        return self._walk({**filters})
