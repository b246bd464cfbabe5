"""The demo, as a newcomer starts it: from nothing, again, twice at once, after a kill."""

from __future__ import annotations

import json
import os
import re
import signal
import socket
import subprocess
import sys
import time
from contextlib import suppress
from pathlib import Path

import pytest
import requests

from tests.house.files import CHECKOUT

PATIENCE = 1800  # seconds, after which it hangs on the slowest machine
pytestmark = pytest.mark.xdist_group("demo")  # they share one folder


class Running:
    """A demo in the background."""

    def __init__(self, folder: Path, *arguments: str) -> None:
        self.log = folder.with_suffix(".log")
        with self.log.open("wb") as log:
            self.process = subprocess.Popen(
                command(folder, *arguments), stdin=subprocess.DEVNULL, stdout=log, stderr=log, env=settings()
            )

    def said(self) -> str:
        """Return what it has printed."""
        return self.log.read_text()

    def wait_until_said(self, text: str) -> None:
        """Wait until it has printed something."""
        until = time.monotonic() + PATIENCE
        while text not in self.said():
            assert self.process.poll() is None, self.said()
            assert time.monotonic() < until, self.said()
            time.sleep(0.1)

    def wait_until_open(self) -> str:
        """Return the address that it serves on, once the session is over."""
        self.wait_until_said("Stop with Ctrl-C")
        found = re.search(r"(http://127\.0\.0\.1:\d+)/docs", self.said())
        assert found is not None
        return found[1]


def settings() -> dict[str, str]:
    """Return an environment with settings of somebody else's service, which the demo must leave alone."""
    return os.environ | {
        "SHIMSTOCK_DATABASE_URL": "postgresql://nobody@127.0.0.1:1/nothing",
        "PYTHONWARNINGS": "",
    }


def command(folder: Path, *arguments: str) -> list[str]:
    """Return the command that starts the demo in a folder of the test's own."""
    return [sys.executable, str(CHECKOUT / "deploy" / "demo_server.py"), "--folder", str(folder), *arguments]


def play_once(folder: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    """Play one session to its end."""
    return subprocess.run(
        command(folder, "--once", *arguments),
        capture_output=True,
        text=True,
        check=False,
        timeout=PATIENCE,
        env=settings(),
    )


def answers(url: str) -> bool:
    """Tell whether anybody answers there."""
    with suppress(requests.RequestException):
        return requests.get(f"{url}/livez", timeout=5).ok
    return False


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the folder of one demo, where the tests below follow one another."""
    return tmp_path_factory.mktemp("demo") / "shop"


@pytest.fixture(scope="module")
def first(folder: Path) -> subprocess.CompletedProcess[str]:
    """Play the first session, from nothing."""
    return play_once(folder)


def stop(demo: Running) -> int:
    """Stop a demo as Ctrl-C does, and return its exit code."""
    demo.process.send_signal(signal.SIGINT)
    return demo.process.wait(PATIENCE)


def test_the_first_session_ends_well(first: subprocess.CompletedProcess[str], folder: Path) -> None:
    assert first.returncode == 0, first.stdout + first.stderr
    assert first.stderr == ""
    assert "relief" in first.stdout
    assert "What the seasons will do to it" in first.stdout
    assert "by the climate's normals" in first.stdout
    assert folder.stat().st_mode & 0o077 == 0
    assert (folder / "keys.json").stat().st_mode & 0o077 == 0
    assert set(json.loads((folder / "keys.json").read_text())) == {
        "manager", "booking", "bench-1", "bench-2", "bench-3",
    }  # fmt: skip


def test_it_serves_refuses_a_second_one_and_starts_again_after_a_kill(
    first: subprocess.CompletedProcess[str], folder: Path
) -> None:
    assert first.returncode == 0
    demo = Running(folder)
    again = None
    try:
        url = demo.wait_until_open()
        assert_that_it_can_be_used(url, folder)
        assert_that_the_website_books(demo.said())
        second = play_once(folder)
        assert second.returncode == 75
        assert f"already running here (process {demo.process.pid}, {url}/docs)" in second.stderr

        end_the_website(demo)
        demo.wait_until_said("The website has ended by itself")
        demo.wait_until_said("The shop stays open without it.")
        assert_that_it_can_be_used(url, folder)

        demo.process.kill()
        demo.process.wait(PATIENCE)
        with socket.create_server(("127.0.0.1", 0)) as taken:
            port = taken.getsockname()[1]
            again = Running(folder, "--site-port", str(port))
            url = again.wait_until_open()
            assert f"There is no website: Port {port} is taken; name another with --site-port" in again.said()
            assert "  website " not in again.said()
            assert_that_it_can_be_used(url, folder)
            assert stop(again) == 0, again.said()
            assert not answers(url)
    finally:
        for left in (demo, again):
            if left is not None and left.process.poll() is None:
                stop(left)


def end_the_website(demo: Running) -> None:
    """End the process of the website, and nothing else."""
    pid = demo.process.pid
    children = Path(f"/proc/{pid}/task/{pid}/children").read_text().split()
    sites = [each for each in children if b"website.py" in Path(f"/proc/{each}/cmdline").read_bytes()]
    assert len(sites) == 1, sites
    os.kill(int(sites[0]), signal.SIGTERM)


def assert_that_it_can_be_used(url: str, folder: Path) -> None:
    """Look at what the demo says one can look at."""
    manager = json.loads((folder / "keys.json").read_text())["manager"]
    assert requests.get(f"{url}/docs", timeout=PATIENCE).ok
    jobs = requests.get(f"{url}/v1/jobs", headers={"Authorization": f"Bearer {manager}"}, timeout=PATIENCE)
    assert jobs.json()["items"], jobs.text


def assert_that_the_website_books(said: str) -> None:
    """Look at the example website that the demo started beside the service."""
    found = re.findall(r"website +(http://127\.0\.0\.1:\d+/)", said)
    assert found, said
    site = found[-1]
    assert requests.get(site, timeout=PATIENCE).ok
    services = requests.get(f"{site}services", timeout=PATIENCE).json()
    assert "Setup, electric" in {service["name"] for service in services}
    free = requests.get(f"{site}slots/{services[0]['id']}", timeout=PATIENCE).json()
    slot = free["days"][0]["slots"][0]["at"]
    wish = {"service": services[0]["id"], "at": slot, "click": "one"}
    assert requests.post(f"{site}hold", json=wish, timeout=PATIENCE).json()["visit"]


def test_a_port_that_is_taken_is_said(tmp_path: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        demo = play_once(tmp_path / "other", "--port", str(port))
    assert demo.returncode == 69
    assert f"Port {port} is taken" in demo.stderr
