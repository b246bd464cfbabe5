"""How a command ends, as a number for scripts and as words for people."""

from __future__ import annotations

from enum import IntEnum
from typing import Any


class Exit(IntEnum):
    """Exit codes; the same for every command."""

    OK = 0
    REFUSED = 1
    USAGE = 2
    NOTHING = 3
    NOT_REACHABLE = 4
    SIGN_IN = 5
    CONFLICT = 6
    INTERRUPTED = 130


MEANING: dict[Exit, str] = {
    Exit.OK: "done",
    Exit.REFUSED: "the service could not take it, or failed",
    Exit.USAGE: "the command or a reading was not understood",
    Exit.NOTHING: "there is nothing to do",
    Exit.NOT_REACHABLE: "the service cannot be reached; readings and work that were typed are kept",
    Exit.SIGN_IN: "sign in first, or the key is no longer good",
    Exit.CONFLICT: "somebody else holds or changed it, or a rule stands against it now",
    Exit.INTERRUPTED: "interrupted; readings that were typed are kept",
}


class Stop(Exception):  # noqa: N818 - named after its cause
    """Ends a command with a message and an exit code.

    Parameters
    ----------
    message : str
        For people, on standard error [-].
    code : Exit
        For scripts [-].
    answer : dict or None
        What --json prints instead of an error, when the end is none: an empty list, say [-].
    """

    def __init__(self, message: str, code: Exit, answer: dict[str, Any] | None = None) -> None:
        super().__init__(message)
        self.message = message
        self.code = code
        self.answer = answer
