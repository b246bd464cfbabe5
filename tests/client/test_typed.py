"""What a type checker says of programs that use the client: slips are found, right programs pass."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from tests.house.files import CHECKOUT

RIGHT = """\
from datetime import UTC, date, datetime
from shimstock_client import BookingOwnerIn, Client, Job, JobState, NewReading, OwnerIn, Quantity

shop = Client("http://127.0.0.1:8765", "key", timeout=30.0, retries=2)
owner: BookingOwnerIn = {"name": "Robin", "email": "robin@example.org"}
hold = shop.bookings.hold("service", datetime.now(UTC), timeout=10.0)
booking = shop.bookings.confirm(hold, owner=owner, instrument={"kind": "electric"}, retries=0)
if booking.state == "confirmed" and booking.job is not None:
    print(booking.job.number, booking.card_path)
states: list[JobState] = ["queued", "on-bench"]
jobs: list[Job] = [job for state in states for job in shop.jobs.list(state=state, limit=50)]
shop.reading_sheets.post(
    jobs[0],
    [NewReading(quantity="relief", value=Quantity(0.3, "mm")), {"quantity": "action", "side": "bass"}],
    stage="final",
    at_pitch=True,
    timeout=20.0,
)
robin = shop.owners.create(name="Robin", idempotency_key="once")
shop.owners.update(robin, phone=None, timeout=(1.0, 5.0))
fields: OwnerIn = {"name": "Robin"}
shop.owners.create(**fields)
shop.shop.put(
    name="Shop", place="Town", zone="Europe/Berlin", units="mm", currency="EUR", language="en",
)
model = next(shop.instrument_models.list(kind="bass"))
print(model.bridge["kind"], model.created_at, shop.availability.of("service", date.today()).slots[0].at)
"""

WRONG = {
    'shop.bookings.confirm("b", owner={"nmae": 1})': 'expected "BookingOwnerIn | None"',
    'shop.bookings.confirm("b", owner={"name": 1})': 'expected "BookingOwnerIn | None"',
    'print(shop.bookings.get("b").state == "confirmd")': "Non-overlapping equality check",
    'print(next(shop.jobs.list()).state == "on_bench")': "Non-overlapping equality check",
    'shop.jobs.list(state="queud")': 'Argument "state"',
    'shop.jobs.list(stat="queued")': 'Unexpected keyword argument "stat"',
    'shop.owners.create(nmae="Robin")': 'Unexpected keyword argument "nmae"',
    "shop.owners.create()": 'Missing named argument "name"',
    'shop.jobs.move(shop.jobs.get("j"), "redy")': 'Argument 2 to "move"',
    'shop.reading_sheets.post("j", [{"quantity": "releif"}], stage="final", at_pitch=True)': (
        'expected "NewReading | ReadingIn"'
    ),
    'shop.reading_sheets.post("j", [], stage="finished", at_pitch=True)': 'Argument "stage"',
    'shop.jobs.get("j", timeout="soon")': 'Argument "timeout"',
    'shop.jobs.get("j").late_minuts': 'no attribute "late_minuts"',
    "shop.owner": 'no attribute "owner"',
    "from shimstock_client import Jbo": 'no attribute "Jbo"',
}
BEGIN = 'from shimstock_client import Client\nshop = Client("http://127.0.0.1:8765", "key")\n'


@pytest.fixture(scope="module")
def found(tmp_path_factory: pytest.TempPathFactory) -> dict[int, list[str]]:
    """Return what is said of each line of the wrong program; of the right one, under minus its lines."""
    folder = tmp_path_factory.mktemp("typed")
    Path(folder, "right.py").write_text(RIGHT)
    Path(folder, "wrong.py").write_text(BEGIN + "\n".join(WRONG) + "\n")
    settings = Path(folder, "mypy.ini")
    settings.write_text("[mypy]\nstrict = True\n")
    ended = subprocess.run(
        [sys.executable, "-m", "mypy", "--config-file", str(settings), "--cache-dir", str(folder / "cache"),
         "--hide-error-context", "--no-error-summary", "right.py", "wrong.py"],
        cwd=folder, capture_output=True, text=True, check=False,
        env={**os.environ, "MYPYPATH": str(CHECKOUT / "client"), "PYTHONPATH": ""},
    )  # fmt: skip
    lines: dict[int, list[str]] = {}
    for name, number, said in re.findall(r"^(?:.*/)?(\w+\.py):(\d+): (.*)$", ended.stdout, re.MULTILINE):
        sign = -1 if name == "right.py" else 1
        lines.setdefault(sign * int(number), []).append(said if name != "right.py" else f"{name}: {said}")
    assert lines, ended.stdout + ended.stderr
    return lines


def test_a_right_program_passes(found: dict[int, list[str]]) -> None:
    assert [line for number, line in sorted(found.items()) if number < 0] == []


@pytest.mark.parametrize(("number", "line"), list(enumerate(WRONG, BEGIN.count("\n") + 1)), ids=list(WRONG))
def test_a_slip_is_found(number: int, line: str, found: dict[int, list[str]]) -> None:
    assert any(WRONG[line] in said for said in found.get(number, [])), found.get(number)
