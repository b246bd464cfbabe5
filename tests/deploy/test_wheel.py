"""The wheel in an environment of its own: the base is the SDK, the extra `cli` brings the command."""

from __future__ import annotations

import email
import re
import subprocess
import sys
import sysconfig
import venv
import zipfile
from pathlib import Path

import pytest

from tests.house.files import CHECKOUT

BASE = ("requests", "urllib3", "certifi", "idna", "charset_normalizer")
"""What the two libraries of the base install import, and nothing else."""
CLI = ("click", "rich", "pygments", "markdown_it", "mdurl", "platformdirs", "prompt_toolkit", "wcwidth")


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the wheel of this checkout, built without a network."""
    folder = tmp_path_factory.mktemp("wheel")
    build = [
        sys.executable,
        "-m",
        "pip",
        "wheel",
        "--quiet",
        "--no-deps",
        "--no-build-isolation",
        "--no-index",
    ]
    subprocess.run([*build, "--wheel-dir", str(folder), str(CHECKOUT)], check=True)
    (found,) = folder.glob("*.whl")
    return found


@pytest.fixture
def bare(wheel: Path, tmp_path: Path) -> Path:
    """Return an environment that holds the wheel and what the base install needs."""
    venv.create(tmp_path / "environment", with_pip=False, symlinks=True)
    python = tmp_path / "environment" / "bin" / "python"
    install = [sys.executable, "-m", "pip", "--python", str(python), "install", "--quiet", "--no-deps"]
    subprocess.run([*install, "--no-index", str(wheel)], check=True)
    lend(tmp_path / "environment", BASE)
    return tmp_path / "environment"


def lend(environment: Path, packages: tuple[str, ...]) -> None:
    """Let an environment use packages of the tests' own."""
    (there,) = environment.glob("lib/python*/site-packages")
    for name in packages:
        (there / name).symlink_to(Path(sysconfig.get_path("purelib"), name))


def run(environment: Path, program: str, *arguments: str) -> subprocess.CompletedProcess[str]:
    """Run a program of an environment, away from the checkout."""
    return subprocess.run(
        [str(environment / "bin" / program), *arguments],
        cwd=environment, env={"PATH": "/usr/bin:/bin"}, capture_output=True, text=True, check=False,
    )  # fmt: skip


def required(wheel: Path) -> dict[str, set[str]]:
    """Return the names that each extra requires; "" is the base install."""
    with zipfile.ZipFile(wheel) as opened:
        (name,) = [name for name in opened.namelist() if name.endswith(".dist-info/METADATA")]
        told = email.message_from_bytes(opened.read(name)).get_all("Requires-Dist", [])
    wanted: dict[str, set[str]] = {}
    for line in told:
        extra = re.search(r"extra == ['\"](\w+)['\"]", line)
        wanted.setdefault(extra[1] if extra else "", set()).add(re.split(r"[^\w.-]", line)[0])
    return wanted


def test_the_base_install_is_the_sdk(wheel: Path) -> None:
    wanted = required(wheel)
    assert wanted[""] == {"requests", "urllib3"}
    assert wanted["cli"] >= {"click", "rich", "platformdirs", "prompt-toolkit"}
    assert not wanted["cli"] & {"flask", "numpy", "sqlalchemy"}


def test_every_public_name_loads_with_the_base_alone(bare: Path) -> None:
    code = "import shimstock_client as s; [getattr(s, name) for name in s.__all__]; print(len(s.__all__))"
    ended = run(bare, "python", "-c", code)
    assert ended.returncode == 0, ended.stderr
    assert int(ended.stdout) > 100


def test_the_command_names_its_extra_in_one_sentence(bare: Path) -> None:
    ended = run(bare, "shimstock", "--help")
    assert ended.returncode == 1
    assert ended.stdout == ""
    assert ended.stderr.count("\n") == 1
    assert "pip install 'shimstock[cli]'" in ended.stderr
    assert "missing: click, rich, platformdirs, prompt_toolkit" in ended.stderr


def test_the_operators_command_names_its_extra_too(bare: Path) -> None:
    ended = run(bare, "shimstock-admin", "--help")
    assert ended.returncode == 1
    assert "pip install 'shimstock[server]'" in ended.stderr


def test_the_extra_makes_the_command_work(bare: Path) -> None:
    lend(bare, CLI)
    ended = run(bare, "shimstock", "--help")
    assert ended.returncode == 0, ended.stderr
    assert "receive" in ended.stdout
    assert run(bare, "python", "-c", "import rich.console, platformdirs, prompt_toolkit").returncode == 0


@pytest.mark.parametrize("path", ["README.md", "openapi/integrators-guide.md"])
def test_what_to_install_stands_where_people_look(path: str, wheel: Path) -> None:
    text = (CHECKOUT / path).read_text(encoding="utf-8")
    assert "`pip install shimstock`" in text
    named = {
        extra
        for told in re.findall(r"pip install 'shimstock\[([\w,]+)\]'", text)
        for extra in told.split(",")
    }
    assert {"cli", "server"} <= named <= set(required(wheel))


def test_what_types_the_sdk_travels_with_it(wheel: Path) -> None:
    with zipfile.ZipFile(wheel) as opened:
        names = set(opened.namelist())
    assert "shimstock_client/py.typed" in names
    assert "shimstock_client/_contract/records/jobs.py" in names
    assert not [name for name in names if name.startswith(("generator", "generate", "tests"))]
