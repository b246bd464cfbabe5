"""The integrator's guide, as it stands, in a shell against the service: every answer is the one it shows."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
from collections.abc import Iterator
from typing import Any

import pytest

from shimstock_server.app import create_app, open_database
from shimstock_server.clock import FixedClock, SystemClock
from shimstock_server.config import Config
from shimstock_server.operations import seed as seeds
from tests.client.live import served
from tests.databases import SqliteDatabases
from tests.house.files import CHECKOUT
from tests.server.conftest import SECRET, make_staff
from tests.waiting import HANG

GUIDE = CHECKOUT / "openapi" / "integrators-guide.md"
FENCE = re.compile(r"^```(\w+)\n(.*?)^```$", re.MULTILINE | re.DOTALL)
MARK = "=== answer {} ==="

OTHERS = (
    ("an id", r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}"),
    ("a moment", r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?Z"),
    ("a wall time", r"\d{4}-\d\d-\d\dT\d\d:\d\d"),
    ("a day", r"\d{4}-\d\d-\d\d"),
    ("a secret", r"whsec_.+"),
    ("a page", r"/cards/.+"),
    ("a request", r"[0-9a-f]{32}"),
)
"""What is another one each time; everything else is as the guide shows it."""


def steps() -> list[tuple[str, str, str]]:
    """The commands of the guide, each with the answer shown below it: kind and text."""
    blocks = [(kind, text) for kind, text in FENCE.findall(GUIDE.read_text(encoding="utf-8"))]
    found = []
    for n, (kind, text) in enumerate(blocks):
        if kind == "sh":
            after = blocks[n + 1] if n + 1 < len(blocks) and blocks[n + 1][0] != "sh" else ("", "")
            found.append((text, *after))
    return found


@pytest.fixture(scope="module")
def answers(sqlite_databases: SqliteDatabases, tmp_path_factory: pytest.TempPathFactory) -> list[str]:
    """What each step of the guide printed, in one shell from top to bottom."""
    for program in ("bash", "curl", "jq"):
        if shutil.which(program) is None:
            pytest.skip(f"no {program} found")
    folder = tmp_path_factory.mktemp("guide")
    config = Config(secret=SECRET, database_url=sqlite_databases.migrated(folder), rate_per_minute=0)
    clock, database = FixedClock(SystemClock().now().replace(microsecond=0)), open_database(config)
    seeds.load(database, CHECKOUT / "seed", clock.now(), secret=SECRET)
    key = make_staff(database, clock).tokens["booking"]
    script = "set -euo pipefail\n" + "\n".join(
        f"{command}\necho\necho '{MARK.format(n)}'" for n, (command, _, _) in enumerate(steps())
    )
    with served(create_app(config, clock, database=database)) as url:
        done = subprocess.run(
            ["bash", "-c", script],
            cwd=folder, capture_output=True, text=True, timeout=HANG, check=False,
            env={"PATH": "/usr/local/bin:/usr/bin:/bin", "SHIMSTOCK": url, "KEY": key, "no_proxy": "*"},
        )  # fmt: skip
    database.dispose()
    assert done.returncode == 0, done.stdout[-2000:] + done.stderr
    return re.split(r"\n?=== answer \d+ ===\n", done.stdout)


STEPS = steps()


def test_the_guide_books_and_subscribes() -> None:
    commands = "\n".join(command for command, _, _ in STEPS)
    for address in ("/v1/services", "/v1/availability", "/confirm", "/move", "/v1/webhook-endpoints"):
        assert address in commands
    assert sum(bool(shown) for _, _, shown in STEPS) >= 7


@pytest.mark.parametrize("n", [n for n, (_, kind, _) in enumerate(STEPS) if kind], ids=lambda n: f"step-{n}")
def test_the_answer_is_the_one_that_is_shown(answers: list[str], n: int) -> None:
    _, kind, shown = STEPS[n]
    if kind == "text":
        assert answers[n].strip() == shown.strip()
        return
    wrong = list(differences(json.loads(shown), json.loads(answers[n])))
    assert not wrong, "\n".join(wrong)


def differences(shown: Any, found: Any, at: str = "") -> Iterator[str]:
    """Tell where an answer is not what the guide shows; of a list the guide may show the beginning."""
    if isinstance(shown, dict) and isinstance(found, dict):
        if set(shown) != set(found):
            yield f"{at}: the fields {sorted(set(shown) ^ set(found))} are in one and not in the other"
        for name in set(shown) & set(found):
            yield from differences(shown[name], found[name], f"{at}/{name}")
    elif isinstance(shown, list) and isinstance(found, list):
        if len(shown) > len(found):
            yield f"{at}: {len(found)} entries, the guide shows {len(shown)}"
        for n, (one, other) in enumerate(zip(shown, found, strict=False)):
            yield from differences(one, other, f"{at}/{n}")
    elif not is_alike(shown, found) and at != "/next":
        yield f"{at}: {found!r}, the guide shows {shown!r}"


def is_alike(shown: Any, found: Any) -> bool:
    """Tell whether two values are equal, or of a kind that is another one each time."""
    if shown == found:
        return True
    both = isinstance(shown, str) and isinstance(found, str)
    return both and any(re.fullmatch(kind, shown) and re.fullmatch(kind, found) for _, kind in OTHERS)


def test_the_comparison_finds_what_differs() -> None:
    shown = {"state": "held", "day": "2026-03-03", "slots": [{"places": 2}]}
    assert not list(differences(shown, {"state": "held", "day": "2027-01-01", "slots": [{"places": 2}] * 3}))
    assert list(differences(shown, {"state": "confirmed", "day": "2026-03-03", "slots": [{"places": 2}]}))
    assert list(differences(shown, {"state": "held", "slots": [{"places": 2}]}))
    assert list(differences(shown, {"state": "held", "day": "soon", "slots": [{"places": 2}]}))
    assert list(differences(shown, {"state": "held", "day": "2026-03-03", "slots": []}))
