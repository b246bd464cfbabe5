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
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path
from typing import NoReturn

from processes import LOOPBACK, PATIENT, DemoError, Process, listen, port_of, stop_all, wait_until_ready

from shimstock_client import Client, ShimstockError
from shimstock_client.cli._places import write_file, write_private

HERE = Path(__file__).resolve().parent
CHECKOUT = HERE.parent
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
            "SHIMSTOCK_WEBHOOK_PRIVATE": "yes",  # the example website is on this machine too
            **({"SHIMSTOCK_BOOKING_PAGE": self.site} if self.site else {}),
        }

    def _secret(self) -> str:
        """Return the key for signatures, made at the first start."""
        file = self.folder / "secret"
        if not file.exists() or len(file.read_text()) < 32:
            write_file(file, secrets.token_urlsafe(32).encode())
        return file.read_text()

    def admin(self, *commands: list[str]) -> str:
        """Run commands of the operator, one after the other, and return what they print."""
        done = subprocess.run(
            [sys.executable, str(HERE / "admin_commands.py"), json.dumps(commands)],
            env=self.environment(),
            stdin=subprocess.DEVNULL,
            capture_output=True,
            text=True,
            check=False,
        )
        if done.returncode != 0:
            said = (done.stderr.strip() or done.stdout.strip()).splitlines()[-15:]
            raise DemoError(
                "\n".join(["shimstock-admin failed:", *said])
                + "\ndeploy/demo --fresh starts over with a new database."
            )
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
        """Migrate the database, fill it unless that was done to its end, and make the manager's key."""
        commands = [["migrate"]]
        if not self._seeded.exists():
            commands.append(["seed", str(CHECKOUT / "seed"), "--past"])
        keys = self.kept_keys()
        if "manager" not in keys:
            commands.append(["key", "create", "--name", "demo, manager", "--scope", "manager", "--json"])
        told = self.admin(*commands)
        self._seeded.touch()
        if "manager" not in keys:
            write_private(self.keys, {**keys, "manager": json.loads(told.splitlines()[-1])["secret"]})

    def make_keys(self, url: str) -> None:
        """Make the keys of the website and of the benches, as a manager does."""
        keys = self.kept_keys()
        with Client(url, keys["manager"], timeout=PATIENT) as shop:
            benches = {bench.name: bench.id for bench in shop.benches.list()}
            wanted: dict[str, dict[str, str]] = {"booking": {"scope": "booking"}}
            for number, name in enumerate(bench_names(), 1):
                wanted[f"bench-{number}"] = {"scope": "bench", "bench_id": benches[name]}
            for name, fields in wanted.items():
                if name not in keys:
                    keys[name] = str(shop.keys.create(name=f"demo, {name}", **fields).secret)
        write_private(self.keys, keys)

    def kept_keys(self) -> dict[str, str]:
        """Return the keys that were made so far."""
        return dict(json.loads(self.keys.read_text())) if self.keys.exists() else {}

    def start(self, name: str, *arguments: str, listening: socket.socket | None = None) -> Process:
        """Start one of the service's processes, with the socket that it shall listen on."""
        command = [program("shimstock-admin"), *arguments]
        return Process(name, command, self.environment(), self.folder / f"{arguments[0]}.log", listening)

    def start_site(self, url: str, listening: socket.socket) -> Process:
        """Start the example website, which books with the shop's booking key."""
        command = [sys.executable, str(HERE / "example-site" / "website.py")]
        command += ["--fd", str(listening.fileno()), "--kept", str(self.folder / "website.json")]
        environment = {
            **self.environment(),
            "SHIMSTOCK_URL": url,
            "SHIMSTOCK_KEY": self.kept_keys()["booking"],
        }
        return Process("The website", command, environment, self.folder / "website.log", listening)

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


def say_where(demo: Demo, url: str, site_is_open: bool) -> None:
    """Tell where to look around."""
    places = {"website": demo.site} if site_is_open else {}
    places |= {
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


def serve_until_stopped(processes: list[Process], website: Process | None) -> None:
    """Wait until the demo is stopped, or the service or its worker ends by itself."""
    while True:
        for process in processes:
            if process.ended():
                raise process.failure()
        if website is not None and website.ended():
            print(f"{website.failure()}\nThe shop stays open without it.", file=sys.stderr, flush=True)
            website = None
        time.sleep(0.3)


def hold_site_port(demo: Demo, port: int | None) -> socket.socket | None:
    """Listen where the website will answer; without a port the shop does without a website."""
    try:
        listening = listen(port, USUAL_SITE_PORT, "--site-port")
    except DemoError as reason:
        print(f"There is no website: {reason}", file=sys.stderr)
        return None
    demo.site = f"http://{LOOPBACK}:{port_of(listening)}/"
    return listening


def run(demo: Demo, arguments: argparse.Namespace) -> int:
    """Run the demo and return its exit code."""
    with ExitStack() as put_away:
        put_away.enter_context(demo.only_one())
        if arguments.fresh:
            demo.forget()
        listening = put_away.enter_context(listen(arguments.port, USUAL_PORT, "--port"))
        site = None if arguments.once else hold_site_port(demo, arguments.site_port)
        if site is not None:
            put_away.enter_context(site)
        demo.prepare()
        url = f"http://{LOOPBACK}:{port_of(listening)}"
        demo.note(url)
        processes: list[Process] = []
        put_away.callback(stop_all, processes)
        put_away.callback(ignore_signals)
        service = demo.start(
            "The service", "serve", "--bind", f"fd://{listening.fileno()}", listening=listening
        )
        processes.append(service)
        worker = demo.start("The worker", "worker")
        processes.append(worker)
        wait_until_ready(f"{url}/readyz", service)
        demo.make_keys(url)
        status = demo.play(url)
        if status != 0:
            print(f"The bench session ended with status {status}.", file=sys.stderr)
        if not arguments.once:
            website = None
            if site is not None:
                website = demo.start_site(url, site)
                processes.append(website)
                site.close()  # the website has it now: when it ends, connections are refused
                open_site(website, demo.site)
            say_where(demo, url, website is not None and not website.ended())
            try:
                serve_until_stopped([service, worker], website)
            except Stopped:
                print("\nStopping.", flush=True)
        return status


def open_site(website: Process, address: str) -> None:
    """Return once the website answers or has ended; `wait` reports the end."""
    with suppress(DemoError):
        wait_until_ready(address, website)


def main() -> int:
    """Read the command line, run the demo, and say in a sentence what went wrong."""
    parser = argparse.ArgumentParser(prog="deploy/demo", description=__doc__)
    parser.add_argument("--once", action="store_true", help="end after the session, with its exit code")
    parser.add_argument("--fresh", action="store_true", help="forget what earlier demos left")
    parser.add_argument("--port", type=int, help=f"port on {LOOPBACK} (default {USUAL_PORT}, or a free one)")
    parser.add_argument(
        "--site-port", type=int, help=f"port of the website (default {USUAL_SITE_PORT}, or a free one)"
    )
    parser.add_argument(
        "--folder", type=Path, default=CHECKOUT / ".demo", help="where its database and keys lie"
    )
    arguments = parser.parse_args()
    for number in STOPPING:
        signal.signal(number, raise_stopped)
    try:
        return run(Demo(arguments.folder.resolve()), arguments)
    except AlreadyRunningError as reason:
        print(reason, file=sys.stderr)
        return BUSY
    except DemoError as reason:
        print(f"The demo cannot go on: {reason}", file=sys.stderr)
        return UNAVAILABLE
    except ShimstockError as reason:
        print(f"The demo cannot go on: {reason}", file=sys.stderr)
        return UNAVAILABLE
    except Stopped:
        print("\nStopped before the session was over.", file=sys.stderr)
        return 130


if __name__ == "__main__":
    sys.exit(main())
