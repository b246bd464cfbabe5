"""The demo: an invented shop in a folder of its own, served on loopback, and a bench session played in it."""

from __future__ import annotations

import argparse
import fcntl
import json
import os
import secrets
import shutil
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import NoReturn

from processes import LOOPBACK, DemoError, Process, listen, port_of, wait_until_ready

from shimstock_client.cli._places import write_file, write_private

CHECKOUT = Path(__file__).resolve().parent.parent
USUAL_PORT = 8765
USUAL_SITE_PORT = 8766
STOPPING = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)
BUSY, UNAVAILABLE = 75, 69  # EX_TEMPFAIL and EX_UNAVAILABLE of sysexits.h


class Stopped(KeyboardInterrupt):
    """Somebody asked the demo to stop."""


def ignore_signals() -> None:
    """Let nothing interrupt the putting away."""
    for number in STOPPING:
        signal.signal(number, signal.SIG_IGN)


def raise_stopped(*_: object) -> NoReturn:
    """Turn the first signal into an exception, so that everything is put away in order."""
    ignore_signals()
    raise Stopped


class Demo:
    """One shop in one folder: its database, its keys and its processes."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.keys = folder / "keys.json"  # {"manager": secret, "booking": secret, "bench-1": secret, …}
        self.site = ""  # the example website's address, once it has a port
        self.places = folder / "places.json"  # {"card": address, …}: what the session wants to point out
        self._database = folder / "shimstock.db"
        self._seeded = folder / "seeded"
        self._note = folder / "running"

    @contextmanager
    def only_one(self) -> Iterator[None]:
        """Hold the folder; the kernel lets go of it when the demo is killed."""
        self.folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        with self._note.open("a+") as note:
            try:
                fcntl.flock(note, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except BlockingIOError:
                note.seek(0)
                raise AlreadyRunningError(note.read().strip()) from None
            note.truncate(0)
            note.write(f"process {os.getpid()}")
            note.flush()
            self._note_file = note
            yield
            note.truncate(0)

    def note(self, url: str) -> None:
        """Note where this demo serves, for whoever starts a second one."""
        self._note_file.truncate(0)
        self._note_file.write(f"process {os.getpid()}, {url}/docs")
        self._note_file.flush()

    def environment(self) -> dict[str, str]:
        """Return the settings of the demo's service, whatever the person has set for another one."""
        kept = {name: value for name, value in os.environ.items() if not name.startswith("SHIMSTOCK_")}
        return {
            **kept,
            "SHIMSTOCK_DATABASE_URL": f"sqlite:///{self._database}",
            "SHIMSTOCK_SECRET": self._secret(),
            "SHIMSTOCK_BOOKING_PAGE": self.site,
            "SHIMSTOCK_WEBHOOK_PRIVATE": "yes",  # the example website is on this machine too
        }

    def _secret(self) -> str:
        """Return the key for signatures, made at the first start."""
        file = self.folder / "secret"
        if not file.exists() or len(file.read_text()) < 32:
            write_file(file, secrets.token_urlsafe(32).encode())
        return file.read_text()

    def admin(self, *arguments: str) -> str:
        """Run one command of the operator and return what it prints."""
        done = subprocess.run(
            [program("shimstock-admin"), *arguments],
            env=self.environment(),
            stdin=subprocess.DEVNULL,
            capture_output=True,
            text=True,
            check=False,
        )
        if done.returncode != 0:
            said = (done.stderr.strip() or done.stdout.strip()).splitlines()[-15:]
            raise DemoError(f"shimstock-admin {' '.join(arguments)} failed:\n" + "\n".join(said))
        return done.stdout

    def forget(self) -> None:
        """Remove everything that earlier demos left, but for the note that this one runs."""
        for entry in self.folder.iterdir():
            if entry == self._note:
                continue
            if entry.is_dir():
                shutil.rmtree(entry)
            else:
                entry.unlink()

    def prepare(self) -> None:
        """Migrate the database, and fill it when that has not been done to its end."""
        try:
            self.admin("migrate")
        except DemoError as reason:
            raise DemoError(f"{reason}\ndeploy/demo --fresh starts over with a new database.") from reason
        if not self._seeded.exists():
            self.admin("seed", str(CHECKOUT / "seed"))
            self._seeded.touch()
        kept = json.loads(self.keys.read_text()) if self.keys.exists() else {}
        benches = {
            f"bench-{number}": ["bench", "--bench", name] for number, name in enumerate(bench_names(), 1)
        }
        wanted = {"manager": ["manager"], "booking": ["booking"], **benches}
        missing = {name: scope for name, scope in wanted.items() if name not in kept}
        if missing:
            with ThreadPoolExecutor(max_workers=2) as at_once:
                made = dict(zip(missing, at_once.map(self._make_key, missing, missing.values()), strict=True))
            write_private(self.keys, kept | made)

    def _make_key(self, name: str, scope: list[str]) -> str:
        """Make an API key and return its secret."""
        made = json.loads(self.admin("key", "create", "--name", f"demo, {name}", "--scope", *scope, "--json"))
        return str(made["secret"])

    def start(self, name: str, *arguments: str, listening: socket.socket | None = None) -> Process:
        """Start one of the service's processes, with the socket that it shall listen on."""
        command = [program("shimstock-admin"), *arguments]
        return Process(name, command, self.environment(), self.folder / f"{arguments[0]}.log", listening)

    def start_site(self, url: str) -> Process:
        """Start the example website, which books with the shop's booking key."""
        port = self.site.rstrip("/").rsplit(":", 1)[1]
        program = str(CHECKOUT / "deploy" / "example-site" / "website.py")
        command = [sys.executable, program, "--port", port, "--kept", str(self.folder / "website.json")]
        key = json.loads(self.keys.read_text())["booking"]
        environment = {**self.environment(), "SHIMSTOCK_URL": url, "SHIMSTOCK_KEY": key}
        return Process("The website", command, environment, self.folder / "website.log")

    def play(self, url: str) -> int:
        """Play the bench session through the client, on the terminal, and return its exit code."""
        self.places.unlink(missing_ok=True)
        session = [sys.executable, str(CHECKOUT / "deploy" / "demo_session.py")]
        arguments = ["--url", url, "--keys", str(self.keys), "--places", str(self.places)]
        return subprocess.run([*session, *arguments], stdin=subprocess.DEVNULL, check=False).returncode


class AlreadyRunningError(DemoError):
    """Another demo holds the folder."""

    def __init__(self, where: str) -> None:
        super().__init__(
            f"A demo is already running here ({where}). Stop it with Ctrl-C in its terminal first."
        )


def bench_names() -> list[str]:
    """Return the names of the shop's benches."""
    people = json.loads((CHECKOUT / "seed" / "people.json").read_text())
    return [bench["name"] for bench in people["benches"]]


def program(name: str) -> str:
    """Return the path of a command of this environment."""
    return str(Path(sys.executable).with_name(name))


def say_where(demo: Demo, url: str) -> None:
    """Tell where to look around."""
    places = {
        "website": demo.site,
        "docs page": f"{url}/docs",
        "keys": str(demo.keys),
        "logs": f"{demo.folder}/serve.log, worker.log, website.log",
    }
    if demo.places.exists():
        places |= json.loads(demo.places.read_text())
    print("\nThe shop stays open. Where to look:")
    for name, place in places.items():
        print(f"  {name:<10} {place}")
    print("Stop with Ctrl-C.", flush=True)


def serve_until_stopped(processes: list[Process]) -> None:
    """Wait until somebody stops the demo, or a process ends by itself."""
    while True:
        for process in processes:
            if process.ended():
                raise process.failure()
        time.sleep(0.3)


def run(demo: Demo, port: int | None, fresh: bool, once: bool) -> int:
    """Run the demo and return its exit code."""
    with ExitStack() as put_away:
        put_away.enter_context(demo.only_one())
        if fresh:
            demo.forget()
        listening = put_away.enter_context(listen(port, USUAL_PORT))
        with listen(None, USUAL_SITE_PORT) as free:
            demo.site = f"http://{LOOPBACK}:{port_of(free)}/"
        demo.prepare()
        url = f"http://{LOOPBACK}:{port_of(listening)}"
        demo.note(url)
        service = demo.start(
            "The service", "serve", "--bind", f"fd://{listening.fileno()}", listening=listening
        )
        put_away.callback(service.stop)
        worker = demo.start("The worker", "worker")
        put_away.callback(worker.stop)
        put_away.callback(ignore_signals)
        wait_until_ready(url, service)
        status = demo.play(url)
        if status != 0:
            print(f"The bench session ended with status {status}.", file=sys.stderr)
        if not once:
            website = demo.start_site(url)
            put_away.callback(website.stop)
            say_where(demo, url)
            try:
                serve_until_stopped([service, worker, website])
            except Stopped:
                print("\nStopping.", flush=True)
        return status


def main() -> int:
    """Read the command line, run the demo, and say in a sentence what went wrong."""
    parser = argparse.ArgumentParser(prog="deploy/demo", description=__doc__)
    parser.add_argument("--once", action="store_true", help="end after the session, with its exit code")
    parser.add_argument("--fresh", action="store_true", help="forget what earlier demos left")
    parser.add_argument("--port", type=int, help=f"port on {LOOPBACK} (default {USUAL_PORT}, or a free one)")
    parser.add_argument(
        "--folder", type=Path, default=CHECKOUT / ".demo", help="where its database and keys lie"
    )
    arguments = parser.parse_args()
    for number in STOPPING:
        signal.signal(number, raise_stopped)
    try:
        return run(Demo(arguments.folder.resolve()), arguments.port, arguments.fresh, arguments.once)
    except AlreadyRunningError as reason:
        print(reason, file=sys.stderr)
        return BUSY
    except DemoError as reason:
        print(f"The demo cannot go on: {reason}", file=sys.stderr)
        return UNAVAILABLE
    except Stopped:
        print("\nStopped before the session was over.", file=sys.stderr)
        return 130


if __name__ == "__main__":
    sys.exit(main())
