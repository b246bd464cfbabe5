"""A browser that is driven: keys are typed, the page talks to the service, a test asks what it shows."""

from __future__ import annotations

import base64
import fcntl
import json
import os
import select
import subprocess
import time
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import pytest

from . import chromium

PATIENCE = 60.0
"""Seconds that a page may take to become what a test waits for."""


class Driven:
    """Headless Chromium on two pipes, as its DevTools protocol has it: JSON messages that end with a NUL.

    Parameters
    ----------
    program : str
        Where it is.
    folder : Path
        For its profile.
    """

    def __init__(self, program: str, folder: Path) -> None:
        # The browser reads its messages from descriptor 3 and writes to 4; bash puts ours there.
        theirs_in, self._write = _pipe()
        self._read, theirs_out = _pipe()
        flags = [flag for flag in chromium.FLAGS if not flag.startswith("--host-resolver-rules")]
        self._process = subprocess.Popen(
            ["bash", "-c", f'exec "$0" "$@" 3<&{theirs_in} 4>&{theirs_out}', program, *flags,
             "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1", "--remote-debugging-pipe",
             f"--user-data-dir={folder / 'driven'}", "about:blank"],
            pass_fds=(theirs_in, theirs_out), stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )  # fmt: skip
        os.close(theirs_in)
        os.close(theirs_out)
        self._number = 0
        self._kept = b""
        self.told: list[dict[str, Any]] = []
        target = self._ask("Target.createTarget", {"url": "about:blank"})["targetId"]
        attached = self._ask("Target.attachToTarget", {"targetId": target, "flatten": True})
        self._session: str | None = attached["sessionId"]
        for domain in ("Page", "Runtime", "Log", "Network", "Accessibility"):
            self.ask(f"{domain}.enable")

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._process.terminate()
        self._process.wait(timeout=30)
        os.close(self._read)
        os.close(self._write)

    def ask(self, method: str, **parameters: Any) -> dict[str, Any]:
        """Call a method of the protocol on the page."""
        return self._ask(method, parameters, self._session)

    def size(self, width: int, height: int, *, dark: bool = False) -> None:
        """Give the page a window of this size [CSS px]."""
        self.ask(
            "Emulation.setDeviceMetricsOverride",
            width=width,
            height=height,
            deviceScaleFactor=1,
            mobile=False,
        )
        scheme = "dark" if dark else "light"
        self.ask("Emulation.setEmulatedMedia", features=[{"name": "prefers-color-scheme", "value": scheme}])

    def go(self, address: str) -> None:
        """Open an address and wait until it is loaded."""
        self.ask("Page.navigate", url=address)
        self.until("document.readyState === 'complete'")

    def say(self, script: str) -> Any:
        """Return what an expression of JavaScript comes to; a promise is waited for."""
        answer = self.ask("Runtime.evaluate", expression=script, returnByValue=True, awaitPromise=True)
        assert "exceptionDetails" not in answer, answer["exceptionDetails"]
        return answer["result"].get("value")

    def until(self, script: str, patience: float = PATIENCE) -> Any:
        """Wait until an expression comes true."""
        end = time.monotonic() + patience
        while time.monotonic() < end:
            value = self.say(script)
            if value:
                return value
            time.sleep(0.1)
        raise AssertionError(
            f"the page never came to {script}; it says: {self.say('document.body.innerText')}"
        )

    def type(self, text: str) -> None:
        """Type into what has the focus."""
        self.ask("Input.insertText", text=text)

    def press(self, key: str, code: int) -> None:
        """Press a key and let it go."""
        text = "\r" if key == "Enter" else ""
        for kind in ("keyDown", "keyUp"):
            self.ask("Input.dispatchKeyEvent", type=kind, key=key, code=key, windowsVirtualKeyCode=code,
                     text=text if kind == "keyDown" else "")  # fmt: skip

    def picture(self, file: Path) -> None:
        """Keep what the page looks like."""
        file.write_bytes(base64.b64decode(self.ask("Page.captureScreenshot", format="png")["data"]))

    def tree(self) -> list[dict[str, Any]]:
        """Return what a screen reader is told: role and name of each part, in order."""
        nodes = self.ask("Accessibility.getFullAXTree")["nodes"]
        return [
            {"role": node["role"]["value"], "name": node.get("name", {}).get("value", "")}
            for node in nodes
            if not node.get("ignored") and "role" in node
        ]

    def _ask(self, method: str, parameters: dict[str, Any], session: str | None = None) -> dict[str, Any]:
        self._number += 1
        message = {"id": self._number, "method": method, "params": parameters}
        if session is not None:
            message["sessionId"] = session
        os.write(self._write, json.dumps(message).encode() + b"\0")
        while True:
            answer = self._next()
            if answer.get("id") == self._number:
                assert "error" not in answer, f"{method}: {answer['error']}"
                result: dict[str, Any] = answer["result"]
                return result
            self.told.append(answer)

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


def drive(folder: Path) -> Driven:
    """Return a browser to drive, or skip the test on a machine without one."""
    program = chromium.find()
    if program is None:
        pytest.skip("no Chromium found")
    return Driven(program, folder)
