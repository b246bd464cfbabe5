"""Files that commands write: new ones in the place of the old, for their owner alone, whole or not at all."""

from __future__ import annotations

import os
import stat
from pathlib import Path
from typing import Any

import pytest

from shimstock_client.cli._exits import Exit
from tests.client.cli.test_bench_work import taken
from tests.client.conftest import Command, Shop

__all__ = ["taken"]
pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
# of each command that writes one, with the target where FILE stands
WRITERS = (
    ("export", "FILE"), ("card", "1", "--page", "FILE"), ("benches", "--page", "FILE"),
    ("report", "heron", "--page", "FILE"), ("report", "heron", "--csv", "FILE"),
    ("report", "heron", "--pdf", "FILE"), ("report", "--page", "FILE"), ("report", "--csv", "FILE"),
)  # fmt: skip


@pytest.fixture
def manager(shop: Shop, command: Command, taken: dict[str, Any], monkeypatch: pytest.MonkeyPatch) -> Command:
    """Run commands under the manager's key, which may export."""
    monkeypatch.setenv("SHIMSTOCK_KEY", shop.staff.tokens["manager"])
    return command


def write(command: Command, words: tuple[str, ...], target: Path) -> None:
    ran = command(*(str(target) if word == "FILE" else word for word in words))
    assert ran.code == 0, (words, ran)


def test_a_file_that_others_could_read_is_replaced(manager: Command, tmp_path: Path) -> None:
    for number, words in enumerate(WRITERS):
        target, other_name = tmp_path / f"{number}.out", tmp_path / f"{number}.other"
        target.write_text("old")
        target.chmod(0o666)
        other_name.hardlink_to(target)
        write(manager, words, target)
        assert stat.S_IMODE(target.stat().st_mode) == 0o600, words
        assert target.stat().st_size > 3, words
        assert other_name.read_text() == "old", words


def test_a_link_is_replaced_and_never_followed(manager: Command, tmp_path: Path) -> None:
    for number, words in enumerate(WRITERS):
        target, aim = tmp_path / f"{number}.out", tmp_path / f"{number}.aim"
        aim.write_text("not yours")
        target.symlink_to(aim)
        write(manager, words, target)
        assert aim.read_text() == "not yours", words
        assert not target.is_symlink(), words
        assert stat.S_IMODE(target.stat().st_mode) == 0o600, words


def test_a_file_that_cannot_be_written_whole_leaves_the_old_one(
    manager: Command, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    target = tmp_path / "out" / "card.html"
    target.parent.mkdir()
    target.write_text("old")
    monkeypatch.setattr(os, "fsync", full)
    ran = manager("card", "1", "--page", str(target))
    assert (ran.code, ran.err) == (Exit.USAGE, f"--page: No space left on device: {target}\n")
    assert target.read_text() == "old"
    assert list(target.parent.iterdir()) == [target]


def test_it_is_on_the_disk_before_it_has_its_name(
    manager: Command, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    done: list[str] = []
    sync, replace = os.fsync, Path.replace
    monkeypatch.setattr(os, "fsync", lambda file: (done.append("sync"), sync(file)))
    monkeypatch.setattr(Path, "replace", lambda old, new: (done.append("rename"), replace(old, new))[1])
    assert manager("card", "1", "--page", str(tmp_path / "card.html")).code == 0
    assert done == ["sync", "rename", "sync"]


@pytest.mark.parametrize("name", ["folder", "pipe", "/dev/null", "/dev/stdout", "missing/card.html"])
def test_what_is_no_file_stays_as_it_is(manager: Command, tmp_path: Path, name: str) -> None:
    (tmp_path / "folder").mkdir()
    os.mkfifo(tmp_path / "pipe")
    target = tmp_path / name
    before = target.lstat().st_mode if target.exists() else None
    ran = manager("card", "1", "--page", str(target))
    assert (ran.code, str(target) in ran.err) == (Exit.USAGE, True), ran
    assert before == (target.lstat().st_mode if target.exists() else None)
