"""The script that makes the environment, on a small project of its own that needs no network."""

from __future__ import annotations

import base64
import hashlib
import os
import shutil
import signal
import subprocess
import sys
import time
import zipfile
from dataclasses import dataclass
from pathlib import Path

import pytest

from tests.house.files import CHECKOUT
from tests.waiting import HANG

pytestmark = pytest.mark.long

BACKEND = '''
"""A build backend for one project without files: it makes an editable wheel that leads to the checkout."""
import pathlib, zipfile

def build_editable(folder, config_settings=None, metadata_directory=None):
    name = "small-1.0-py3-none-any.whl"
    with zipfile.ZipFile(pathlib.Path(folder) / name, "w") as wheel:
        wheel.writestr("small.pth", str(pathlib.Path.cwd()))
        inside = "small-1.0.dist-info"
        wheel.writestr(f"{inside}/METADATA", "Metadata-Version: 2.1\\nName: small\\nVersion: 1.0\\n")
        wheel.writestr(f"{inside}/WHEEL", "Wheel-Version: 1.0\\nRoot-Is-Purelib: true\\nTag: py3-none-any\\n")
        wheel.writestr(f"{inside}/RECORD", "")
    return name

build_wheel = build_editable
'''
PROJECT = '[build-system]\nrequires = []\nbuild-backend = "backend"\nbackend-path = ["."]\n'


def make_wheel(folder: Path, version: str) -> str:
    """Make the one package that the small project's lock lists, and return its line of the lock."""
    path = folder / f"locked-{version}-py3-none-any.whl"
    inside = f"locked-{version}.dist-info"
    files = {
        "locked.py": f"VERSION = '{version}'\n",
        f"{inside}/METADATA": f"Metadata-Version: 2.1\nName: locked\nVersion: {version}\n",
        f"{inside}/WHEEL": "Wheel-Version: 1.0\nRoot-Is-Purelib: true\nTag: py3-none-any\n",
    }
    digests = {name: hashlib.sha256(text.encode()).digest() for name, text in files.items()}
    record = "".join(
        f"{name},sha256={base64.urlsafe_b64encode(digest).rstrip(b'=').decode()},{len(files[name])}\n"
        for name, digest in digests.items()
    )
    with zipfile.ZipFile(path, "w") as wheel:
        for name, text in files.items():
            wheel.writestr(name, text)
        wheel.writestr(f"{inside}/RECORD", record + f"{inside}/RECORD,,\n")
    return f"locked=={version} \\\n    --hash=sha256:{hashlib.sha256(path.read_bytes()).hexdigest()}\n"


class Small:
    """A checkout with the real scripts and a lock of one package."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.wheels = folder / "wheels"
        (folder / "deploy").mkdir()
        self.wheels.mkdir()
        for name in ("environment.sh", "environment.py"):
            shutil.copy(CHECKOUT / "deploy" / name, folder / "deploy" / name)
        (folder / "backend.py").write_text(BACKEND)
        (folder / "pyproject.toml").write_text(PROJECT)
        self.lock("1.0")

    def lock(self, version: str) -> None:
        """Lock the package at this version."""
        (self.folder / "deploy" / "server.lock").write_text(make_wheel(self.wheels, version))

    def start(self, **settings: str) -> subprocess.Popen[str]:
        """Ask for the environment of the demo."""
        environment = os.environ | {
            "PIP_NO_INDEX": "1",
            "PIP_FIND_LINKS": str(self.wheels),
            "PIP_CONFIG_FILE": os.devnull,
            "SHIMSTOCK_PYTHON": sys.executable,
        }
        return subprocess.Popen(
            [self.folder / "deploy" / "environment.sh", "demo"],
            env=environment | settings,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            start_new_session=True,
        )

    def make(self, **settings: str) -> Path:
        """Return the environment's folder."""
        process = self.start(**settings)
        answer, said = process.communicate(timeout=HANG)
        assert process.returncode == 0, said
        return Path(answer.strip())


def version_in(environment: Path) -> str:
    """Return the version of the locked package that the environment has."""
    program = "import locked, backend; print(locked.VERSION)"  # backend: the checkout itself can be imported
    done = subprocess.run(
        [environment / "bin" / "python", "-I", "-c", program], capture_output=True, text=True, check=True
    )
    return done.stdout.strip()


@pytest.fixture
def small(tmp_path: Path) -> Small:
    """Return a fresh small checkout."""
    return Small(tmp_path)


@dataclass(frozen=True)
class Updated:
    """A checkout whose lock has changed, its environments before and after, and where pip was sent."""

    checkout: Small
    first: Path
    second: Path
    elsewhere: Path


@pytest.fixture(scope="module")
def updated(tmp_path_factory: pytest.TempPathFactory) -> Updated:
    """Return a checkout with two environments: each takes seconds to make, so several tests look at these."""
    small = Small(tmp_path_factory.mktemp("updated"))
    elsewhere = small.folder / "elsewhere"
    first = small.make(PIP_TARGET=str(elsewhere), PIP_USER="1", PYTHONPATH=str(elsewhere))
    small.lock("2.0")
    return Updated(small, first, small.make(), elsewhere)


def test_a_changed_lock_makes_a_new_environment_and_leaves_the_old(updated: Updated) -> None:
    assert updated.second != updated.first
    assert (version_in(updated.first), version_in(updated.second)) == ("1.0", "2.0")
    assert updated.checkout.make() == updated.second


def test_settings_of_pip_that_lead_elsewhere_do_not_count(updated: Updated) -> None:
    assert version_in(updated.first) == "1.0"
    assert not updated.elsewhere.exists()


def test_an_old_environment_goes_when_nobody_has_started_it_for_long(updated: Updated) -> None:
    long_ago = time.time() - 15 * 86_400
    os.utime(updated.first / "used", (long_ago, long_ago))
    assert updated.checkout.make() == updated.second
    assert not updated.first.exists()


def test_after_a_kill_half_way_two_at_once_make_it_good(small: Small) -> None:
    killed = small.start()
    assert killed.stderr is not None
    assert "Installing" in killed.stderr.readline()
    os.killpg(killed.pid, signal.SIGKILL)
    killed.communicate()
    assert not list(small.folder.glob(".venv-demo-*/ready"))

    both = [small.start(), small.start()]
    answers = [process.communicate(timeout=HANG) for process in both]
    assert [process.returncode for process in both] == [0, 0], answers
    assert answers[0][0] == answers[1][0]
    assert sum("Installing" in said for _, said in answers) == 1
    assert version_in(Path(answers[0][0].strip())) == "1.0"


def test_a_file_that_does_not_match_its_hash_is_refused(small: Small) -> None:
    lock = small.folder / "deploy" / "server.lock"
    lock.write_text(lock.read_text()[:-65] + "0" * 64 + "\n")
    process = small.start()
    answer, said = process.communicate(timeout=HANG)
    assert process.returncode == 69
    assert answer == ""
    assert "hash" in said.lower()
    assert not list(small.folder.glob(".venv-demo-*/ready"))


def test_an_older_python_is_named(small: Small) -> None:
    process = small.start(SHIMSTOCK_PYTHON="/bin/false")
    _, said = process.communicate(timeout=HANG)
    assert process.returncode == 69
    assert "3.11" in said


@pytest.mark.parametrize("name", ["server.lock", "tests.lock"])
def test_the_locks_fit_what_the_project_asks_for(name: str) -> None:
    import tomllib

    from packaging.requirements import Requirement

    project = tomllib.loads((CHECKOUT / "pyproject.toml").read_text())["project"]
    extras = project["optional-dependencies"]
    wanted = [*project["dependencies"], *extras["calc"], *extras["server"], *extras["postgresql"]]
    wanted += extras["test"] if name == "tests.lock" else []
    lines = [
        line.rstrip(" \\") for line in (CHECKOUT / "deploy" / name).read_text().splitlines() if "==" in line
    ]
    locked: dict[str, list[str]] = {}
    for entry in map(Requirement, lines):
        (version,) = entry.specifier
        locked.setdefault(entry.name, []).append(version.version)
    for requirement in map(Requirement, wanted):
        if requirement.name != "shimstock":
            versions = locked[requirement.name]
            assert all(version in requirement.specifier for version in versions), f"{requirement}: {versions}"
