"""What no file may say."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tests.house.files import read, texts, tracked

HERE = Path("tests/house/test_words.py")

LEFTOVERS = {
    "work put off": r"\b(?:TODO|FIXME|XXX|HACK)\b",
    "filler text": r"(?i)\blorem ipsum\b",
    "a number of a ticket": r"(?i)\bissue #?\d+\b",
    "a path of one machine": r"(?<![\w.])/(?:work|root|Users|home/[a-z]+)/",
    "a folder beside the checkout": r"\.\./shared\b|\bdesign/[a-z]+\.md\b",
    "the host of a package registry": (
        r"(?i)\bpy[p]i\.|python[h]osted\.|deb[.]debian|docker[.]io|\bregistry[.](?:npm|yarn)"
    ),
}

INSTALLS = ("deploy/", "tests/run", ".ci/", "pyproject.toml")
REGISTRY_OPTION = re.compile(r"--(?:extra-)?index-url|--find-links|--trusted-host|--registry")


@pytest.mark.parametrize("what", LEFTOVERS)
def test_no_file_holds_leftovers(what: str) -> None:
    pattern = re.compile(LEFTOVERS[what])
    found = [
        f"{path}:{number}: {line.strip()}"
        for path in texts()
        if path != HERE
        for number, line in enumerate(read(path).splitlines(), 1)
        if pattern.search(line)
    ]
    assert not found, f"{what}: {found}"


def test_what_installs_leaves_the_registry_to_the_machine() -> None:
    files = [path for path in tracked() if str(path).startswith(INSTALLS)]
    assert files
    found = [str(path) for path in files if REGISTRY_OPTION.search(read(path))]
    assert not found, f"names where packages come from: {found}"


def test_locks_hold_only_versions_and_hashes() -> None:
    line_of_a_lock = re.compile(r"#.*|[a-z0-9._-]+==\S+(?: ; .*)? \\|    --hash=sha256:[0-9a-f]{64}(?: \\)?")
    for path in (path for path in tracked() if path.suffix == ".lock"):
        strange = [line for line in read(path).splitlines() if not line_of_a_lock.fullmatch(line)]
        assert not strange, f"{path}: {strange[:5]}"
