"""Rich's console and text for tables and paragraphs, through which nothing can steer the terminal.

A module of its own, because loading it takes longer than most commands.
"""

from __future__ import annotations

import sys
from collections.abc import Iterable
from typing import IO, Any, cast

import rich.console
import rich.text
from rich.console import ConsoleOptions, RenderableType
from rich.segment import Segment

from ._speaking import Trimmed, line_width, visible


class Text(rich.text.Text):
    """A text that is measured as it will be shown."""

    def __init__(self, text: str = "", *more: Any, **how: Any) -> None:
        super().__init__(visible(text), *more, **how)


class Console(rich.console.Console):
    """Where people read: a terminal in its own width, else lines without trailing blanks."""

    def __init__(self, width: int | None = None) -> None:
        plain: dict[str, Any] = {"highlight": False, "markup": False, "emoji": False}
        if width is None and sys.stdout.isatty():
            super().__init__(**plain)
        else:
            super().__init__(file=cast(IO[str], Trimmed()), width=width or line_width(), **plain)

    def render_str(self, text: str, **how: Any) -> rich.text.Text:
        """Return the text that a plain string of a table stands for."""
        return super().render_str(visible(text), **how)

    def render(self, renderable: RenderableType, options: ConsoleOptions | None = None) -> Iterable[Segment]:
        """Render anything; whatever put its text together, none of it can steer the terminal."""
        for segment in super().render(renderable, options):
            yield segment if segment.control else segment._replace(text=visible(segment.text))
