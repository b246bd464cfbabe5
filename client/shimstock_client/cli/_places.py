"""Where this program keeps its few files: the sign-in, the job in hand, and what is not sent yet."""

from __future__ import annotations

import errno
import json
import os
import stat
import tempfile
import typing
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any, TypeVar

from .._wire import parse_json, read_as
from ._exits import Exit, Stop

K = TypeVar("K")

FOLDER = "SHIMSTOCK_FILES"
"""Environment variable that puts both in one folder."""


def sign_in_file() -> Path:
    """Return the path of the sign-in file."""
    return _folder("config") / "sign-in.json"


def last_job_file() -> Path:
    """Return the path of the job last seen on this bench."""
    return _folder("data") / "last-job.json"


def last_plan_file() -> Path:
    """Return the path of the plan last shown here."""
    return _folder("data") / "last-plan.json"


def unsent_folder() -> Path:
    """Return the folder of sheets that are not sent yet."""
    return _folder("data") / "unsent"


def unsent_work_folder() -> Path:
    """Return the folder of work that is not known to be recorded."""
    return _folder("data") / "unsent-work"


def _folder(kind: str) -> Path:
    chosen = os.environ.get(FOLDER)
    if chosen:
        return Path(chosen)
    import platformdirs

    if kind == "config":
        return Path(platformdirs.user_config_dir("shimstock", appauthor=False))
    return Path(platformdirs.user_data_dir("shimstock", appauthor=False))


def write_private(path: Path, content: Mapping[str, Any]) -> None:
    """Write a JSON file, as `write_file` does, in a folder that only its owner can enter."""
    path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    text = json.dumps(content, ensure_ascii=False, indent=1) + "\n"
    write_file(path, text.encode(errors="backslashreplace"))  # as JSON's own escape, half of a surrogate pair


def write_output(option: str, path: str | Path, content: str | bytes) -> None:
    """Write the file that an option or argument asked for.

    Raises
    ------
    Stop
        When it cannot be written.
    """
    try:
        write_file(Path(path), content.encode() if isinstance(content, str) else content)
    except OSError as error:
        raise Stop(f"{option}: {error.strerror}: {path}", Exit.USAGE) from error


def write_file(path: Path, content: bytes) -> None:
    """Write a new file that only its owner can read, whole or not at all, in the place of one that is there.

    A symbolic link is replaced, not followed, and a file that others could read keeps nothing of its mode.
    What is no file (a folder, a device, a pipe) is left as it is.

    Raises
    ------
    OSError
        When it cannot be written.
    """
    if (path.exists() and not path.is_file()) or path.absolute().parent == Path("/dev"):
        raise OSError(errno.EINVAL, "a folder, a device or a pipe, where a file was expected", str(path))
    # mkstemp makes the file 0600 from the start: it is never readable by others, not even for a moment
    handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name[:80]}.")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        Path(temporary).replace(path)
        _sync_folder(path.parent)
    except BaseException:
        with suppress(OSError):
            Path(temporary).unlink()
        raise


def _sync_folder(folder: Path) -> None:
    """Have the file's name survive a power cut too."""
    if os.name == "posix":
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def read_json(path: Path) -> dict[str, Any] | None:
    """Read a JSON object; None when there is no such file.

    Raises
    ------
    ValueError
        When it holds something else.
    """
    try:
        content = parse_json(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        return None
    except ValueError as error:
        raise ValueError(f"{path} is damaged ({error}); remove it, or repair it by hand") from error
    if not isinstance(content, dict):
        raise ValueError(f"{path} is damaged (no JSON object); remove it, or repair it by hand")
    return content


def read_kept(path: Path, kind: type[K]) -> K | None:
    """Read a file that holds a dataclass; None when there is no such file.

    Raises
    ------
    ValueError
        When it holds something else.
    """
    content = read_json(path)
    if content is None:
        return None
    hints = typing.get_type_hints(kind)
    try:
        return kind(**{name: read_as(hints.get(name, Any), value, name) for name, value in content.items()})
    except (TypeError, ValueError) as error:
        raise ValueError(f"{path} is damaged ({error}); remove it, or repair it by hand") from error


def readable_by_others(path: Path) -> bool:
    """Tell whether anybody but the owner may read a file."""
    return os.name == "posix" and bool(path.stat().st_mode & (stat.S_IRWXG | stat.S_IRWXO))
