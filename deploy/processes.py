"""Start, watch and stop the processes of the demo."""

from __future__ import annotations

import ctypes
import os
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path

LOOPBACK = "127.0.0.1"
PATIENCE = 300.0
"""Seconds after which a process hangs, on the slowest machine."""
PATIENT = (10.0, 300.0)
"""Seconds to connect and between two bytes of an answer: a slow machine is waited for, a hang ends."""
DIRECT = urllib.request.build_opener(
    urllib.request.ProxyHandler({})
)  # loopback is never reached through a proxy


class DemoError(Exception):
    """The demo cannot go on; the message says why and what would help."""


def end_with_parent() -> None:
    """Have the kernel end the process when the demo itself is killed (Linux only)."""
    if sys.platform == "linux":
        set_parent_death_signal = 1  # PR_SET_PDEATHSIG of prctl(2)
        ctypes.CDLL(None).prctl(set_parent_death_signal, signal.SIGTERM)


class Process:
    """A process in the background, its output in a file."""

    def __init__(
        self,
        name: str,
        command: list[str],
        environment: Mapping[str, str],
        log: Path,
        listening: socket.socket | None = None,
    ) -> None:
        self.name = name
        self.log = log
        with log.open("wb") as output:
            self._process = subprocess.Popen(
                command,
                env=environment,
                stdin=subprocess.DEVNULL,
                stdout=output,
                stderr=subprocess.STDOUT,
                pass_fds=() if listening is None else (listening.fileno(),),
                start_new_session=True,  # Ctrl-C reaches the demo alone, which then stops everything in order
                preexec_fn=end_with_parent,  # noqa: PLW1509 - the demo has one thread
            )

    def ended(self) -> bool:
        """Tell whether the process is no longer there."""
        return self._process.poll() is not None

    def failure(self) -> DemoError:
        """Return what to say when the process ended by itself."""
        last_lines = "\n".join(self.log.read_text(errors="replace").splitlines()[-15:])
        return DemoError(
            f"{self.name} has ended by itself (status {self._process.returncode}):\n{last_lines}"
        )

    def ask_to_end(self) -> None:
        """Ask the process to end."""
        with suppress(ProcessLookupError):
            self._process.terminate()

    def wait(self, patience: float = PATIENCE) -> None:
        """Wait for the process to end, and end it and its children when it does not."""
        try:
            self._process.wait(patience)
        except subprocess.TimeoutExpired:
            with suppress(ProcessLookupError):
                os.killpg(self._process.pid, signal.SIGKILL)
            self._process.wait()


def stop_all(processes: list[Process]) -> None:
    """Have all end at once, and wait for each."""
    for process in processes:
        process.ask_to_end()
    for process in processes:
        process.wait()


def listen(wanted: int | None, usual: int, option: str) -> socket.socket:
    """Listen on the port asked for by an option, else on the usual one, else on any that is free.

    The port is held from here on, so that no other program takes it before the service answers there.
    """
    for port in (wanted,) if wanted is not None else (usual, 0):
        listening = socket.socket()
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        with suppress(OSError):
            listening.bind((LOOPBACK, port))
            listening.listen(64)
            return listening
        listening.close()
    raise DemoError(f"Port {wanted} is taken; name another with {option}, or leave it out.")


def port_of(listening: socket.socket) -> int:
    """Return the port that a socket listens on."""
    return int(listening.getsockname()[1])


def is_ready(url: str) -> bool:
    """Tell whether what answers there is ready."""
    try:
        with DIRECT.open(url, timeout=5) as answer:
            return bool(answer.status == 200)
    except (urllib.error.URLError, OSError):
        return False


def wait_until_ready(url: str, process: Process, patience: float = PATIENCE) -> None:
    """Return once a process answers that it is ready."""
    until = time.monotonic() + patience
    while not is_ready(url):
        if process.ended():
            raise process.failure()
        if time.monotonic() > until:
            raise DemoError(f"{process.name} is not ready after {patience:.0f} s; see {process.log}")
        time.sleep(0.1)
