"""What the operator's commands write, beside what lies there already."""

from __future__ import annotations

import stat
from contextlib import suppress
from pathlib import Path

import pytest

from shimstock_server.operations.files import in_place_of

from .test_admin import Operator, bare, operator

__all__ = ["bare", "operator"]


@pytest.mark.parametrize("command", ["backup", "export"])
def test_a_file_that_others_could_read_is_replaced(operator: Operator, tmp_path: Path, command: str) -> None:
    target, other_name = tmp_path / "copy", tmp_path / "other"
    target.write_text("old")
    target.chmod(0o666)
    other_name.hardlink_to(target)
    operator.does(command, str(target))
    assert stat.S_IMODE(target.stat().st_mode) == 0o600
    assert (other_name.read_text(), target.stat().st_size > 3) == ("old", True)


@pytest.mark.parametrize("command", ["backup", "export"])
def test_a_link_is_replaced_and_never_followed(operator: Operator, tmp_path: Path, command: str) -> None:
    folder, aim = tmp_path / "folder", tmp_path / "aim"
    folder.mkdir()
    aim.write_text("not yours")
    (folder / "copy").symlink_to(aim)
    operator.does(command, str(folder / "copy"))
    assert aim.read_text() == "not yours"
    assert [path.is_symlink() for path in folder.iterdir()] == [False]


def test_what_ends_badly_leaves_the_old_file_and_nothing_else(tmp_path: Path) -> None:
    target = tmp_path / "copy"
    target.write_text("old")
    with suppress(RuntimeError), in_place_of(target) as part:
        part.write_text("half")
        raise RuntimeError
    assert ([*tmp_path.iterdir()], target.read_text()) == ([target], "old")


@pytest.mark.parametrize("command", ["backup", "export"])
def test_a_device_is_no_place_for_a_copy(operator: Operator, command: str) -> None:
    assert "/dev/null: a folder, a device or a pipe" in operator.fails(command, "/dev/null")
