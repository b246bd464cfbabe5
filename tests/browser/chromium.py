"""Headless Chromium: measures what a page looks like, and prints it. Nothing is fetched."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
from collections.abc import Mapping
from html import escape, unescape
from pathlib import Path
from typing import Any

import pytest

NAMES = ("chromium", "chromium-browser", "google-chrome")
FLAGS = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
    "--disable-dev-shm-usage", "--host-resolver-rules=MAP * ~NOTFOUND",
)  # fmt: skip
PATIENCE = 120.0
"""Seconds; a machine that runs other tests beside needs them."""

HOLDER = """<!DOCTYPE html><meta charset="utf-8"><style>body{margin:0}iframe{border:0;display:block}</style>
%(frames)s
<script>
const measures = {%(measures)s};
window.onload = () => {
  const found = {};
  for (const frame of document.querySelectorAll("iframe")) {
    found[frame.id] = {};
    for (const [name, measure] of Object.entries(measures)) {
      try { found[frame.id][name] = measure(frame.contentDocument); }
      catch (error) { found[frame.id][name] = {error: String(error)}; }
    }
  }
  const told = document.createElement("pre");
  told.id = "found";
  told.textContent = JSON.stringify(found);
  document.body.replaceChildren(told);
};
</script>"""
FRAME = '<iframe id="%s" srcdoc="%s" width="%d" height="900"></iframe>'


class Chromium:
    """A browser of its own for each run.

    Parameters
    ----------
    program : str
        Where it is.
    folder : Path
        For its profile and the pages.
    """

    def __init__(self, program: str, folder: Path) -> None:
        self.program, self.folder = program, folder

    def measure(
        self, pages: Mapping[str, tuple[str, int]], scripts: Mapping[str, str]
    ) -> dict[str, dict[str, Any]]:
        """Show pages in frames, and return what scripts find in their documents, by page and script.

        Parameters
        ----------
        pages : mapping
            HTML and the frame's width [CSS px], by name.
        scripts : mapping
            JavaScript functions of a page's document that return what JSON can hold, by name.
        """
        frames = [FRAME % (name, escape(page), width) for name, (page, width) in pages.items()]
        measures = ",\n".join(f"{json.dumps(name)}: {script}" for name, script in scripts.items())
        holder = self.folder / "holder.html"
        holder.write_text(HOLDER % {"frames": "\n".join(frames), "measures": measures}, encoding="utf-8")
        shown = self._run("--dump-dom", "--window-size=1400,900", holder.as_uri())
        told = re.search(r'<pre id="found">(.*?)</pre>', shown, re.DOTALL)
        assert told is not None, f"the browser did not get to measuring: {shown[:500]}"
        found: dict[str, dict[str, Any]] = json.loads(unescape(told[1]))
        wrong = [
            each
            for page in found.values()
            for each in page.values()
            if isinstance(each, dict) and "error" in each
        ]
        assert not wrong, wrong
        return found

    def printed_pages(self, page: str) -> int:
        """Print a page and return how many sheets it takes."""
        source, target = self.folder / "print.html", self.folder / "print.pdf"
        source.write_text(page, encoding="utf-8")
        self._run("--no-pdf-header-footer", f"--print-to-pdf={target}", source.as_uri())
        return len(re.findall(rb"/Type\s*/Page\b(?!s)", target.read_bytes()))

    def _run(self, *arguments: str) -> str:
        profile = self.folder / "profile"
        done = subprocess.run(
            [self.program, *FLAGS, f"--user-data-dir={profile}", *arguments],
            capture_output=True, text=True, timeout=PATIENCE, check=False,
        )  # fmt: skip
        assert done.returncode == 0, done.stderr[-2000:]
        return done.stdout


def find() -> str | None:
    """Return the browser's program, or None when there is none."""
    return next((found for name in NAMES if (found := shutil.which(name))), None)


def start(folder: Path) -> Chromium:
    """Return a browser, or skip the test on a machine without one."""
    program = find()
    if program is None:
        pytest.skip("no Chromium found")
    return Chromium(program, folder)
