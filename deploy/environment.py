"""Make, once, the Python environment of the demo or of the tests from locked versions, and print its folder.

Standard library only: this runs before anything is installed. The folder's name carries a hash of the lock,
of the Python version and of where the checkout lies, so that a changed lock makes a new one and one in use is
left alone.
"""

from __future__ import annotations

import fcntl
import hashlib
import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

CHECKOUT = Path(__file__).resolve().parent.parent
LOCKS = {"demo": "server.lock", "tests": "tests.lock"}
KEPT_UNUSED = 14 * 86_400  # seconds that an environment of an earlier lock is kept after its last start
FAILED = 69  # EX_UNAVAILABLE of sysexits.h

# Settings that would send pip elsewhere than into the environment.
UNWANTED = {"PIP_USER", "PIP_TARGET", "PIP_PREFIX", "PIP_ROOT", "PIP_REQUIRE_VIRTUALENV", "PYTHONPATH"}
QUIETLY = ("-qq", "--no-input", "--disable-pip-version-check")

# What the borrowed virtualenv is run by: the temporary folder that it lies in is the first argument.
BORROWED = """
import runpy, sys
sys.path.insert(0, sys.argv.pop(1))
runpy.run_module("virtualenv", run_name="__main__")
"""


class EnvironmentMakingError(Exception):
    """The environment cannot be made; the message says why and what would help."""


def say(message: str) -> None:
    """Tell the person at the terminal, leaving standard output to the answer."""
    print(message, file=sys.stderr, flush=True)


def digest(*parts: bytes) -> str:
    """Return a short name for what was given."""
    return hashlib.sha256(b"\0".join(parts)).hexdigest()[:10]


def run(command: list[str]) -> bool:
    """Run a command, its output on standard error, and tell whether it succeeded."""
    environment = {name: value for name, value in os.environ.items() if name not in UNWANTED}
    done = subprocess.run(command, check=False, stdout=sys.stderr, stdin=subprocess.DEVNULL, env=environment)
    return done.returncode == 0


def run_quietly(command: list[str]) -> bool:
    """Run a command whose failure is expected on some machines, and tell whether it succeeded."""
    done = subprocess.run(command, check=False, capture_output=True, stdin=subprocess.DEVNULL)
    return done.returncode == 0


@contextmanager
def only_one_at_a_time(lock_file: Path) -> Iterator[None]:
    """Hold the lock while an environment is looked at or made; the kernel frees it after a kill."""
    with lock_file.open("w") as handle:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            say(f"Waiting: another run is making {lock_file.stem}")
            fcntl.flock(handle, fcntl.LOCK_EX)
        yield


def create_with_debian_package(folder: Path) -> bool:
    """As root on Debian: install the venv module, then use the interpreter that it belongs to."""
    if os.geteuid() != 0 or shutil.which("apt-get") is None:
        return False
    say("This Python cannot make environments: installing Debian's python3-venv")
    os.environ["DEBIAN_FRONTEND"] = "noninteractive"
    install = ["apt-get", "install", "-y", "-q", "--no-install-recommends", "python3-venv"]
    if not (run(install) or (run(["apt-get", "update", "-q"]) and run(install))):
        return False
    return run_quietly([sys.executable, "-m", "venv", "--clear", str(folder)])


def create_with_virtualenv(folder: Path) -> bool:
    """With pip but without the venv module: borrow virtualenv from a temporary folder."""
    if not run_quietly([sys.executable, "-m", "pip", "--version"]):
        return False
    say("This Python cannot make environments: borrowing virtualenv")
    with tempfile.TemporaryDirectory() as borrowed:
        locked = str(CHECKOUT / "deploy" / "virtualenv.lock")
        pip = [sys.executable, "-m", "pip", "install", "-qq", "--no-input", "--disable-pip-version-check"]
        if not run([*pip, "--require-hashes", "--target", borrowed, "-r", locked]):
            return False
        return run([sys.executable, "-c", BORROWED, borrowed, "--quiet", "--no-download", str(folder)])


def create(folder: Path) -> None:
    """Make an empty environment with pip in it."""
    if run_quietly([sys.executable, "-m", "venv", "--clear", str(folder)]):
        return
    for other_way in (create_with_debian_package, create_with_virtualenv):
        shutil.rmtree(folder, ignore_errors=True)
        if other_way(folder):
            return
    raise EnvironmentMakingError(
        f"{sys.executable} has neither the venv module nor pip. Install one of them (on Debian and Ubuntu: "
        "apt-get install python3-venv), or name another Python in SHIMSTOCK_PYTHON."
    )


def pip(folder: Path) -> list[str]:
    """Return the start of an install command inside the environment."""
    python = str(folder / "bin" / "python")
    return [python, "-I", "-m", "pip", "install", "--no-deps", *QUIETLY]


def install_locked(folder: Path, lock: Path) -> None:
    """Install exactly what the lock lists, every file checked against its hash."""
    count = sum(1 for line in lock.read_text().splitlines() if "==" in line)
    say(f"Installing {count} locked packages into {folder.name} (once; a minute or two)")
    if not run([*pip(folder), "--require-hashes", "-r", str(lock)]):
        raise EnvironmentMakingError("The locked packages could not be installed; pip's reason stands above.")


def install_project(folder: Path) -> None:
    """Install the checkout itself, so that edits count at once; again whenever its description changed."""
    mark = folder / "project"
    described = digest((CHECKOUT / "pyproject.toml").read_bytes())
    if mark.exists() and mark.read_text() == described:
        return
    if not run([*pip(folder), "--no-build-isolation", "--no-index", "--editable", str(CHECKOUT)]):
        raise EnvironmentMakingError("Shimstock itself could not be installed; pip's reason stands above.")
    mark.write_text(described)


def remove_unused(purpose: str, current: Path) -> None:
    """Remove environments of earlier locks that nobody has started for two weeks."""
    for other in CHECKOUT.glob(f".venv-{purpose}-*/used"):
        if other.parent != current and time.time() - other.stat().st_mtime > KEPT_UNUSED:
            shutil.rmtree(other.parent, ignore_errors=True)


def prepare(purpose: str) -> Path:
    """Return the folder of the environment for `purpose`, complete."""
    lock = CHECKOUT / "deploy" / LOCKS[purpose]
    key = digest(lock.read_bytes(), sys.version.encode(), str(CHECKOUT).encode())
    folder = CHECKOUT / f".venv-{purpose}-{key}"
    with only_one_at_a_time(CHECKOUT / f"{folder.name}.lock"):
        ready = folder / "ready"  # written last: without it an earlier run was killed half way
        if not ready.exists():
            create(folder)
            install_locked(folder, lock)
            ready.touch()
        install_project(folder)
        (folder / "used").touch()
        remove_unused(purpose, folder)
    return folder


def main() -> int:
    """Print the environment's folder; on failure say why and return a non-zero status."""
    if len(sys.argv) != 2 or sys.argv[1] not in LOCKS:
        say(f"Usage: environment.sh {'|'.join(LOCKS)}")
        return 64
    try:
        print(prepare(sys.argv[1]))
    except (EnvironmentMakingError, OSError) as reason:
        say(f"No environment: {reason}")
        return FAILED
    return 0


if __name__ == "__main__":
    sys.exit(main())
