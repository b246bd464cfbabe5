"""A browser that is driven: keys are typed, the page talks to the service, a test asks what it shows."""

from __future__ import annotations

import base64
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

PATIENCE = 60.0
"""Seconds that a page may take to become what a test waits for."""


class Driven:
    """A page of a browser.

    Parameters
    ----------
    ask : function
        Calls a method of the browser's DevTools protocol on a session.
    session : str
        The page's.
    """

    def __init__(self, ask: Callable[..., dict[str, Any]], session: str) -> None:
        self._ask, self._session = ask, session
        self.told: list[dict[str, Any]] = []

    def ask(self, method: str, **parameters: Any) -> dict[str, Any]:
        """Call a method of the protocol on the page."""
        return self._ask(method, self._session, **parameters)

    def size(self, width: int, height: int, *, dark: bool = False, media: str = "screen") -> None:
        """Give the page a window of this size [CSS px], for a screen or for print."""
        self.ask(
            "Emulation.setDeviceMetricsOverride",
            width=width,
            height=height,
            deviceScaleFactor=1,
            mobile=False,
        )
        scheme = "dark" if dark else "light"
        features = [{"name": "prefers-color-scheme", "value": scheme}]
        self.ask("Emulation.setEmulatedMedia", media=media, features=features)

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
