"""Lines typed at a terminal: they can be edited, and brought back."""

from __future__ import annotations

import os
import pty
import select
import subprocess
import sys
import time

import pytest

LEFT, UP, BACKSPACE, ENTER, END = "\x1b[D", "\x1b[A", "\x7f", "\r", "\x04"
READY = "\x1b[?2004h"
"""Bracketed paste is switched on (xterm's control sequences): the editor waits for a line."""
PROGRAM = """
from shimstock_client.cli._speaking import ask_line
print("got", ascii([ask_line("relief", " > "), ask_line("next \\x1b[31m", " > ")]))
"""


def typed(*lines: str) -> str:
    """Return what a program of two questions writes at a terminal at which lines are typed."""
    ours, theirs = pty.openpty()
    program = subprocess.Popen(
        [sys.executable, "-c", PROGRAM], stdin=theirs, stdout=theirs, stderr=theirs,
        env={**os.environ, "TERM": "xterm", "PROMPT_TOOLKIT_NO_CPR": "1"}, start_new_session=True,
    )  # fmt: skip
    os.close(theirs)
    shown, waiting, ends = "", list(lines), time.monotonic() + 60
    try:
        while time.monotonic() < ends:
            if select.select([ours], [], [], 0.1)[0]:
                try:
                    shown += os.read(ours, 65536).decode()
                except OSError:  # the program has ended (Linux)
                    break
            elif waiting and shown.count(READY) > len(lines) - len(waiting):
                os.write(ours, waiting.pop(0).encode())
            elif program.poll() is not None:
                break
        return shown
    finally:
        program.kill()
        program.wait()
        os.close(ours)


@pytest.mark.parametrize(
    ("lines", "got"),
    [
        (["relief 0.4\r", "send\r"], "['relief 0.4', 'send']"),
        ([f"relif{LEFT}e{ENTER}", f"x{BACKSPACE}send{ENTER}"], "['relief', 'send']"),
        ([f"action bass 2.2{ENTER}", f"{UP}{BACKSPACE}1{ENTER}"], "['action bass 2.2', 'action bass 2.1']"),
    ],
    ids=["as typed", "corrected", "brought back"],
)
def test_a_line_can_be_edited(lines: list[str], got: str) -> None:
    shown = typed(*lines)
    assert f"got {got}" in shown


def test_a_question_cannot_steer_the_terminal() -> None:
    assert "\\u001b[31m" in typed(f"a{ENTER}", f"b{ENTER}")


def test_the_end_of_the_input_ends_the_command() -> None:
    assert "Abort" in typed(END)
