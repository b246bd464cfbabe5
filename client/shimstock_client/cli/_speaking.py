"""The one way to the terminal: text in letters that it has and that cannot steer it, JSON that any can carry.

What the service answers with, what a file holds and what an error quotes may hold escape sequences or marks
that turn the reading direction. All output of the command line leaves through here; `tests/house` holds the
other modules to it.
"""

from __future__ import annotations

import codecs
import io
import json
import os
import re
import sys
from functools import cache
from typing import TYPE_CHECKING, Any, TextIO

import click

if TYPE_CHECKING:
    from click._termui_impl import ProgressBar
    from prompt_toolkit import PromptSession

PLAIN_LETTERS = "shimstock-plain"
"""Name of the way in which a letter that the terminal does not have is written with those that it has."""
_PLAIN = {"→": "->", "…": "...", "–": "-", "·": "-", "±": "+/-", "−": "-", "°": " deg ", "×": "x", "’": "'"}
_STEERING = re.compile(
    "[\x00-\x08\x0b-\x1f\x7f-\x9f"  # C0 and C1 controls but for tab and line feed (ISO/IEC 6429, ECMA-48)
    "\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069"  # Bidi_Control (Unicode Standard Annex #9, section 2)
    "\u2028\u2029"  # line and paragraph separator, line ends to some terminals
    "\ud800-\udfff]"  # half of a surrogate pair, which no encoding can write
)


def _in_plain_letters(error: UnicodeError) -> tuple[str, int]:
    if not isinstance(error, UnicodeEncodeError):
        raise error
    missing = error.object[error.start : error.end]
    return "".join(_PLAIN.get(letter, "?") for letter in missing), error.end


codecs.register_error(PLAIN_LETTERS, _in_plain_letters)


def speak_plainly() -> None:
    """Have both streams write what their encoding lacks in plain letters instead of failing."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper) and not _knows_all(stream):
            stream.reconfigure(errors=PLAIN_LETTERS)


def _knows_all(stream: TextIO) -> bool:
    return (stream.encoding or "").lower().replace("-", "").startswith("utf")


def visible(text: str) -> str:
    r"""Return a text in which each character that could steer a terminal is written as an escape.

    The escapes are JSON's own, so JSON stays the same JSON.

    >>> print(visible("\x1b]0;mine\x07 \u202ever"))
    \u001b]0;mine\u0007 \u202ever
    """
    return _STEERING.sub(lambda found: f"\\u{ord(found[0]):04x}", text)


def echo(text: str = "", *, err: bool = False) -> None:
    """Print a text and a line end, on standard error with `err`."""
    click.echo(visible(text), err=err)


def echo_json(data: Any) -> None:
    """Print JSON; with escapes where the stream's encoding could not carry every letter."""
    echo(json.dumps(data, ensure_ascii=not _knows_all(sys.stdout), indent=1))


def ask(question: str, **how: Any) -> Any:
    """Ask for a line; `how` as `click.prompt` takes it."""
    return click.prompt(visible(question), **how)


def ask_line(question: str, suffix: str = ": ") -> str:
    """Ask for a line of free text, empty when only Enter is pressed.

    At a terminal it can be edited, and the arrow up brings back what was typed before.

    Raises
    ------
    click.Abort
        On Ctrl-C and at the end of the input.
    """
    if not (sys.stdin.isatty() and sys.stdout.isatty()):
        return str(ask(question, default="", show_default=False, prompt_suffix=suffix)).strip()
    try:
        return _line_editor().prompt(visible(question) + suffix).strip()
    except (EOFError, KeyboardInterrupt):
        raise click.Abort from None


@cache
def _line_editor() -> PromptSession[str]:
    from prompt_toolkit import PromptSession

    return PromptSession()


def ask_yes(question: str) -> bool:
    """Ask whether something is so; a bare Enter is a yes."""
    return click.confirm(visible(question), default=True)


def progress(label: str) -> ProgressBar[int]:
    """Return a progress bar on standard error, which shows how many are done."""
    return click.progressbar(length=1, label=visible(label), file=sys.stderr, show_pos=True)


class Trimmed(io.TextIOBase):
    """Standard output without the blanks that fill up a table's lines."""

    def write(self, text: str) -> int:
        """Write lines, their ends trimmed."""
        return sys.stdout.write("\n".join(line.rstrip(" ") for line in text.split("\n")))

    def flush(self) -> None:
        """Pass it on."""
        sys.stdout.flush()


def line_width() -> int:
    """Return the width of lines when no terminal tells it: COLUMNS, else 100."""
    columns = os.environ.get("COLUMNS", "")
    return int(columns) if columns.isdecimal() and int(columns) >= 20 else 100
