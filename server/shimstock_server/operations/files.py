"""Files that the operator's commands write: new ones, for their owner alone, whole or not at all."""

from __future__ import annotations

import contextlib
import errno
import os
import tempfile
from collections.abc import Iterator
from pathlib import Path


@contextlib.contextmanager
def in_place_of(target: Path) -> Iterator[Path]:
    """Yield a new file beside the target; when the block ends well, it takes the target's place.

    A symbolic link is replaced, not followed, and a file that others could read keeps nothing of its mode.

    Raises
    ------
    OSError
        When it cannot be written, or the target is a folder or a device.
    """
    if target.exists() and not target.is_file():
        raise OSError(errno.EINVAL, "a folder, a device or a pipe, where a file was expected", str(target))
    # mkstemp makes the file 0600 from the start: what is written holds the names of the shop's customers
    handle, name = tempfile.mkstemp(dir=target.parent, prefix=f".{target.name[:80]}.")
    os.close(handle)
    part = Path(name)
    try:
        yield part
        _sync(part, os.O_RDWR)
        part.replace(target)
        _sync(target.parent, os.O_RDONLY)  # its name survives a power cut too
    finally:
        part.unlink(missing_ok=True)


def _sync(path: Path, flags: int) -> None:
    handle = os.open(path, flags)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
