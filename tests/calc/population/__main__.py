"""Plays the population against policies and prints the table.

    python -m tests.calc.population --count 2500 --seed 0 --policy plan,card

Seeds 0 to 999 999 are for tuning. Seeds from 1 000 000 on are for judging alone: a block that anything was
tuned on is never used again.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Callable
from functools import partial
from multiprocessing import Pool

from .bench import Outcome, play
from .instruments import SCENARIOS
from .paper_card import PaperCard
from .plan_policy import PlanPolicy
from .policy import Policy
from .table import HEADINGS, details, laid_out, row

POLICIES: dict[str, Callable[[], Policy]] = {"plan": PlanPolicy, "card": PaperCard}


def one(seed: int, scenario: str, policy: str) -> Outcome:
    """Play one job."""
    return play(seed, SCENARIOS[scenario], POLICIES[policy]())


def many(count: int, seed: int, scenario: str, policy: str, processes: int = 1) -> list[Outcome]:
    """Play many jobs, in the order of their seeds whatever the number of processes."""
    job, seeds = partial(one, scenario=scenario, policy=policy), range(seed, seed + count)
    if processes == 1:
        return [job(each) for each in seeds]
    with Pool(processes) as pool:
        return pool.map(job, seeds, chunksize=10)


def main(arguments: list[str]) -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(
        "python -m tests.calc.population",
        description=__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--count", type=int, default=500, help="instruments for each policy and scenario")
    parser.add_argument(
        "--seed", type=int, default=0, help="first seed: 0 to 999 999 for tuning, from 1 000 000 for judging"
    )
    parser.add_argument("--policy", default=",".join(POLICIES), help=f"of {', '.join(POLICIES)}")
    parser.add_argument("--scenario", default="ordinary", help=f"of {', '.join(SCENARIOS)}, or all")
    parser.add_argument("--processes", type=int, default=os.cpu_count() or 1)
    given = parser.parse_args(arguments)
    scenarios = list(SCENARIOS) if given.scenario == "all" else given.scenario.split(",")
    rows: list[tuple[str, ...]] = [HEADINGS]
    below: list[str] = []
    for scenario in scenarios:
        for policy in given.policy.split(","):
            outcomes = many(given.count, given.seed, scenario, policy, given.processes)
            rows.append(row(policy, scenario, outcomes))
            below += ["", *details(policy, scenario, outcomes)]
    sys.stdout.write("\n".join([laid_out(rows), *below, ""]))


if __name__ == "__main__":
    main(sys.argv[1:])
