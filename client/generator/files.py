"""From classes to the files of a package."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterator

from .annotations import module_of
from .classes import Contract

HEAD = '"""{about}, made by client/generate.py: do not edit."""'
LONGEST = 560
"""Lines of a generated file; a longer one is split, as no file of the project has more than 600."""

IMPORTS = {
    "records": """
        from dataclasses import dataclass, field
        from datetime import date, datetime
        from typing import Any, TypedDict

        from ..._extras import HasSlots, HasSteps
        from ..._quantity import Quantity, QuantityDict
        from ..._wire import UNKNOWN, Record, Stored, empty
    """,
    "bodies": """
        from collections.abc import Mapping, Sequence
        from dataclasses import dataclass
        from datetime import date, datetime
        from typing import Any, NotRequired, TypedDict
        from uuid import UUID

        from ..._quantity import Quantity, QuantityDict
        from ..._writes import CallOptions, WriteOptions
    """,
    "lists": """
        from collections.abc import Iterator
        from typing import TYPE_CHECKING, Unpack
        from uuid import UUID

        from ..._collection import Listed, OfJob
        from ..._writes import CallOptions, Timeout, WriteOptions
    """,
}
ABOUT = {"records": "Records", "bodies": "Bodies and filters", "lists": "Lists"}


class Files:
    """The texts of the package, by path below it."""

    def __init__(self, contract: Contract) -> None:
        self.contract = contract
        self.modules: dict[str, dict[str, str]] = {kind: {} for kind in ABOUT}
        self.texts: dict[str, str] = {}

    def write(self) -> dict[str, str]:
        """Return every text, not yet formatted."""
        parts = {
            (kind, module): classes
            for kind in ABOUT
            for tag in self.contract.tags
            for module, classes in _split(module_of(tag), self.contract.classes[kind][tag])
        }
        for (kind, module), classes in parts.items():
            self.modules[kind] |= {name: module for name, _ in classes}
        for (kind, module), classes in parts.items():
            self.texts[f"{kind}/{module}.py"] = self._module(kind, module, classes)
        words = ["from __future__ import annotations", "", "from typing import Literal", ""]
        self.texts["words.py"] = "\n".join(
            [HEAD.format(about="Words"), "", *words, *self.contract.writer.words.lines()]
        )
        self.texts["__init__.py"] = self._names()
        for kind, about in ABOUT.items():
            self.texts[f"{kind}/__init__.py"] = HEAD.format(about=f"{about} by their tag")
        return self.texts

    def _module(self, kind: str, module: str, classes: list[tuple[str, list[str]]]) -> str:
        body = "\n\n\n".join("\n".join(lines).rstrip() for _, lines in classes)
        used = set(re.findall(r"\b[A-Z]\w+\b", body)) - {name for name, _ in classes}
        lines = [HEAD.format(about=f"{ABOUT[kind]} of {module.replace('_', ' ')}"), ""]
        lines += ["from __future__ import annotations", textwrap.dedent(IMPORTS[kind])]
        words = sorted(used & set(self.contract.writer.words.names.values()))
        here = [("..words", words)] if words else []
        late: list[tuple[str, list[str]]] = []
        for other in ("records", "bodies"):
            if other == "bodies" and kind == "records":
                continue
            prefix = "." if other == kind else f"..{other}."
            for home in dict.fromkeys(self.modules[other].values()):
                names = sorted(name for name in used if self.modules[other].get(name) == home)
                if names and (other, home) != (kind, module):
                    (late if kind == "lists" and other == "bodies" else here).append((prefix + home, names))
        lines += [f"from {where} import {', '.join(names)}" for where, names in here]
        if late:
            lines += ["", "if TYPE_CHECKING:"]
            lines += [f"    from {where} import {', '.join(names)}" for where, names in late]
        return "\n".join([*lines, "", "", body, ""])

    def _names(self) -> str:
        """Return the package's names: all but the lists, each with its module."""
        homes = {"words": sorted(self.contract.writer.words.names.values())}
        for kind in ("records", "bodies"):
            for name, module in self.modules[kind].items():
                homes.setdefault(f"{kind}.{module}", []).append(name)
        lines = [
            HEAD.format(about="The published contract as Python"),
            "",
            "from __future__ import annotations",
        ]
        lines += ["", "from typing import TYPE_CHECKING", "", "from .._lazy import loading", ""]
        lines += ["if TYPE_CHECKING:"]
        lines += [f"    from .{home} import *  # noqa: F403" for home in sorted(homes)]
        lines += ["", "_HOMES = {"]
        for home in sorted(homes):
            wrapped = textwrap.wrap(" ".join(sorted(homes[home])), 96 - len(home))
            lines += [f'    "{home}": ' + "\n    ".join(f'"{line} "' for line in wrapped) + ","]
        lines += ["}", "HOMES = {name: home for home, names in _HOMES.items() for name in names.split()}"]
        lines += ['"""The module of each name; it is loaded when the name is first used."""', ""]
        sources = self.contract.sources
        lines += [
            "SOURCES = {",
            *(f'    "{name}": "{" ".join(sources[name])}",' for name in sorted(sources)),
            "}",
        ]
        lines += ['"""The schemas of the document that each record is made of."""', ""]
        lines += ["if not TYPE_CHECKING:", "    __getattr__ = loading(__name__, HOMES)", ""]
        return "\n".join(lines)


def _split(
    module: str, classes: list[tuple[str, list[str]]]
) -> Iterator[tuple[str, list[tuple[str, list[str]]]]]:
    """Walk the parts of a module, none longer than a file may be."""
    part: list[tuple[str, list[str]]] = []
    length, number = 60, 1
    for name, lines in classes:
        estimate = sum(1 + len(line) // 100 for line in lines) + 3
        if part and length + estimate > LONGEST:
            yield module if number == 1 else f"{module}_{number}", part
            part, length, number = [], 60, number + 1
        part.append((name, lines))
        length += estimate
    if part:
        yield module if number == 1 else f"{module}_{number}", part
