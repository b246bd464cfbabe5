"""What is not sent yet, in files: a sheet while it is filled in, and work that is not known to be recorded.

Both are kept under the ids that they will have, so that sending them again stores them once.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict, dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from .._ids import uuid7
from ._places import read_kept, unsent_folder, unsent_work_folder, write_private


def _now() -> str:
    return datetime.now(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


CLOCK_AHEAD = "clock-ahead"
"""The problem of a time that the service cannot believe."""


def restating(kept: UnsentSheet | UnsentWork) -> str:
    """Say how the time of what is kept is put right."""
    name = kept.id[-6:]
    return (
        f"kept as {name} with the time {kept.when()}: set this machine's clock, then say when it was: "
        f'shimstock send {name} --at now, or --at "2026-03-02 09:30"'
    )


@dataclass
class UnsentSheet:
    """What was typed so far."""

    job_id: str
    job_number: int | None = None
    url: str = ""
    id: str = field(default_factory=lambda: str(uuid7()))
    started_at: str = field(default_factory=_now)
    stage: str | None = None
    at_pitch: bool | None = None
    readings: list[dict[str, Any]] = field(default_factory=list)
    findings: list[dict[str, Any]] = field(default_factory=list)
    more: dict[str, Any] = field(default_factory=dict)
    """Further fields of the sheet: position, acclimatised, room, note …"""
    tools: list[str] = field(default_factory=list)
    """Names of tools for the readings that name none."""

    @property
    def path(self) -> Path:
        """Where it is kept."""
        return unsent_folder() / f"{self.id}.json"

    @property
    def is_empty(self) -> bool:
        """Nothing typed yet that is worth keeping."""
        return not (self.readings or self.findings or self.more)

    def keep(self) -> None:
        """Write it to its file."""
        write_private(self.path, asdict(self))

    def remove(self) -> None:
        """Remove its file: it was sent, or thrown away."""
        self.path.unlink(missing_ok=True)

    def taken_at(self) -> str:
        """Return when the readings were taken: when the last of them was typed."""
        return str(self.more.get("taken_at") or self.started_at)

    def when(self) -> str:
        """Return when it was read, to sort what is unsent by."""
        return self.taken_at()

    def restate(self, instant: str) -> None:
        """Say when it was read, and keep it."""
        self.more["taken_at"] = instant
        self.keep()

    def touch(self) -> None:
        """Note that a reading was taken just now, and keep the sheet; a correction keeps the old time."""
        if "supersedes" not in self.more:
            self.more["taken_at"] = _now()
        self.keep()

    def body(self) -> dict[str, Any]:
        """Return the sheet as it travels, tools still by name."""
        return {
            "id": self.id,
            "stage": self.stage,
            "at_pitch": self.at_pitch,
            "readings": self.readings,
            "findings": self.findings,
            **self.more,
            "taken_at": self.taken_at(),
        }


def read_unsent(path: Path) -> UnsentSheet:
    """Read a kept sheet.

    Raises
    ------
    ValueError
        When the file is missing or damaged.
    """
    sheet = read_kept(path, UnsentSheet)
    if sheet is None:
        raise ValueError(f"{path} is not there")
    return sheet


def all_unsent() -> Iterator[UnsentSheet]:
    """Walk the kept sheets, oldest first; ids made here sort by time."""
    for path in sorted(unsent_folder().glob("*.json")):
        yield read_unsent(path)


def find_unsent(beginning: str) -> UnsentSheet | None:
    """Find the one kept sheet whose id ends or begins with a text; None when there are none or more."""
    found = [
        sheet for sheet in all_unsent() if sheet.id.startswith(beginning) or sheet.id.endswith(beginning)
    ]
    return found[0] if len(found) == 1 else None


@dataclass
class UnsentWork:
    """What was done on a job, as it travels; each part under an id of its own."""

    job_id: str
    job_number: int | None
    bodies: list[dict[str, Any]]
    id: str = field(default_factory=lambda: str(uuid7()))

    @property
    def path(self) -> Path:
        """Where it is kept."""
        return unsent_work_folder() / f"{self.id}.json"

    def keep(self) -> None:
        """Write it to its file."""
        write_private(self.path, asdict(self))

    def restate(self, instant: str) -> None:
        """Say when it was done, and keep it."""
        self.bodies = [{**body, "done_at": instant} for body in self.bodies]
        self.keep()

    def when(self) -> str:
        """Return when it was done."""
        return str(self.bodies[0]["done_at"])

    def remove(self) -> None:
        """Remove its file: it is recorded, or was refused."""
        self.path.unlink(missing_ok=True)


def all_unsent_work() -> Iterator[UnsentWork]:
    """Walk the kept work, oldest first."""
    for path in sorted(unsent_work_folder().glob("*.json")):
        work = read_kept(path, UnsentWork)
        if work is not None:
            yield work
