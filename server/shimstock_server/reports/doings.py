"""What was done and what was found: in how many of the jobs done, how often, how far."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from shimstock_calc.summary import Moments
from shimstock_server.learning import Tallies

KINDS = {"turn": "turns", "mm": "thickness"}


def doings_told(
    tallies: Tallies, what: str, seen: Mapping[tuple[str, str, str], int], done: int
) -> list[dict[str, Any]]:
    """Tell of steps or findings, what most jobs had first.

    Parameters
    ----------
    tallies : mapping
        What happened in the period.
    what : str
        `STEP` or `FINDING`.
    seen : mapping
        Of the jobs done in the period, how many had each.
    done : int
        Jobs done in the period.
    """
    ways: dict[tuple[str, str], Moments] = {}
    for key, tally in tallies.items():
        if key.what == what:
            part = key.name, key.unit
            ways[part] = ways[part].merged(tally.way) if part in ways else tally.way
    jobs = {(name, unit): count for (kind, name, unit), count in seen.items() if kind == what}
    told = []
    for name, unit in ways.keys() | jobs.keys():
        way, count = ways.get((name, unit), Moments()), jobs.get((name, unit), 0)
        far = bool(unit) and way.count > 0
        told.append(
            {
                "name": name,
                "jobs": count,
                "per_job": count / done if done else None,
                "count": way.count,
                "unit_kind": KINDS.get(unit),
                "way_mean": way.mean if far else None,
                "way_sd": way.sd if far and way.count > 1 else None,
            }
        )
    return sorted(
        told, key=lambda each: (-each["jobs"], -each["count"], each["name"], str(each["unit_kind"]))
    )
