"""Headless Chromium with chosen fonts: shows pages, measures what they look like, prints them."""

from __future__ import annotations

import base64
import fcntl
import json
import os
import re
import select
import shutil
import subprocess
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from html import escape
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import pytest

from . import fonts
from .driving import Driven

NAMES = ("chromium", "chromium-browser", "google-chrome")
FLAGS = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
    "--disable-dev-shm-usage", "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1",
    "--remote-debugging-pipe",
)  # fmt: skip
PATIENCE = 120.0
"""Seconds; a machine that runs other tests beside needs them."""

HOLDER = """<!DOCTYPE html><meta charset="utf-8"><style>body{margin:0}iframe{border:0;display:block}</style>
%s"""
FRAME = '<iframe id="%s" srcdoc="%s" width="%d" height="900"></iframe>'
MEASURE = """(() => {
  const measures = {%s}, found = {};
  for (const frame of document.querySelectorAll("iframe")) {
    found[frame.id] = {};
    for (const [name, measure] of Object.entries(measures))
      found[frame.id][name] = measure(frame.contentDocument);
  }
  return found;
})()"""


class Chromium:
    """One browser for many tests, on two pipes of its DevTools protocol: JSON messages that end with a NUL.

    Parameters
    ----------
    program : str
        Where it is.
    folder : Path
        For its profile, its fonts and the pages.
    family : str
        Which fonts it finds, of `fonts.FAMILIES`.
    """

    def __init__(self, program: str, folder: Path, family: str) -> None:
        self._folder = folder
        self._number = 0
        self._kept = b""
        self._pages: dict[str, Driven] = {}
        (folder / "fonts").mkdir()
        configuration = fonts.configure(family, folder / "fonts")
        # The browser reads its messages from descriptor 3 and writes to 4; bash puts ours there.
        theirs_in, self._write = _pipe()
        self._read, theirs_out = _pipe()
        self._process = subprocess.Popen(
            ["bash", "-c", f'exec "$0" "$@" 3<&{theirs_in} 4>&{theirs_out}', program, *FLAGS,
             f"--user-data-dir={folder / 'profile'}", "about:blank"],
            pass_fds=(theirs_in, theirs_out), stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL, env={**os.environ, "FONTCONFIG_FILE": str(configuration)},
        )  # fmt: skip
        os.close(theirs_in)
        os.close(theirs_out)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._process.terminate()
        self._process.wait(timeout=PATIENCE)
        os.close(self._read)
        os.close(self._write)

    @contextmanager
    def page(self) -> Iterator[Driven]:
        """Open a page that shares neither cookies nor storage with another, and close it at the end."""
        context = self.ask("Target.createBrowserContext")["browserContextId"]
        target = self.ask("Target.createTarget", url="about:blank", browserContextId=context)["targetId"]
        session = self.ask("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
        page = self._pages[session] = Driven(self.ask, session)
        for domain in ("Page", "Runtime", "Log", "Network", "Accessibility"):
            page.ask(f"{domain}.enable")
        yield page
        del self._pages[session]
        self.ask("Target.disposeBrowserContext", browserContextId=context)

    def measure(
        self, pages: Mapping[str, tuple[str, int]], scripts: Mapping[str, str], *, media: str = "screen"
    ) -> dict[str, dict[str, Any]]:
        """Show pages in frames, and return what scripts find in their documents, by page and script.

        Parameters
        ----------
        pages : mapping
            HTML and the frame's width [CSS px], by name.
        scripts : mapping
            JavaScript functions of a page's document that return what JSON can hold, by name.
        media : str
            What the pages are laid out for: ``"screen"`` or ``"print"``.
        """
        frames = [FRAME % (name, escape(page), width) for name, (page, width) in pages.items()]
        measures = ",\n".join(f"{json.dumps(name)}: {script}" for name, script in scripts.items())
        with self.page() as page:
            page.size(1400, 900, media=media)
            self._show(page, HOLDER % "\n".join(frames))
            found: dict[str, dict[str, Any]] = page.say(MEASURE % measures)
        return found

    def printed_pages(self, pages: Mapping[str, str]) -> dict[str, int]:
        """Print pages of HTML and return how many sheets each takes, by name."""
        found = {}
        with self.page() as page:
            for name, text in pages.items():
                self._show(page, text)
                printed = page.ask("Page.printToPDF", preferCSSPageSize=True, printBackground=True)["data"]
                found[name] = len(re.findall(rb"/Type\s*/Page\b(?!s)", base64.b64decode(printed)))
        return found

    def _show(self, page: Driven, text: str) -> None:
        file = self._folder / "page.html"
        file.write_text(text, encoding="utf-8")
        page.go(file.as_uri())

    def ask(self, method: str, session: str | None = None, /, **parameters: Any) -> dict[str, Any]:
        """Call a method of the protocol, on a page's session or on the browser, and return its result."""
        self._number += 1
        message = {"id": self._number, "method": method, "params": parameters}
        if session is not None:
            message["sessionId"] = session
        text = json.dumps(message).encode() + b"\0"
        while text:
            text = text[os.write(self._write, text) :]
        while True:
            answer = self._next()
            if answer.get("id") == self._number:
                assert "error" not in answer, f"{method}: {answer['error']}"
                result: dict[str, Any] = answer["result"]
                return result
            page = self._pages.get(answer.get("sessionId", ""))
            if page is not None:
                page.told.append(answer)

    def _next(self) -> dict[str, Any]:
        while b"\0" not in self._kept:
            ready, _, _ = select.select([self._read], [], [], PATIENCE)
            got = os.read(self._read, 1 << 16) if ready else b""
            assert got, "the browser says nothing any more"
            self._kept += got
        message, _, self._kept = self._kept.partition(b"\0")
        told: dict[str, Any] = json.loads(message)
        return told


def _pipe() -> tuple[int, int]:
    """Return a pipe whose descriptors stand clear of those that the browser wants."""
    ends = os.pipe()
    clear = tuple(fcntl.fcntl(end, fcntl.F_DUPFD_CLOEXEC, 10) for end in ends)
    for end in ends:
        os.close(end)
    return clear[0], clear[1]


def find() -> str | None:
    """Return the browser's program, or None when there is none."""
    return next((found for name in NAMES if (found := shutil.which(name))), None)


def start(folder: Path, family: str) -> Chromium:
    """Return a browser, or skip the test on a machine without one."""
    program = find()
    if program is None:
        pytest.skip("no Chromium found: install the package chromium")
    return Chromium(program, folder, family)
