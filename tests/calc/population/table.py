"""The table that compares policies, with Wilson bounds."""

from __future__ import annotations

import math
from bisect import bisect
from collections import Counter
from collections.abc import Iterable, Sequence
from statistics import NormalDist

from .bench import Outcome

LEAST_IN_A_BIN = 300
"""Fewest stated chances that make a bin."""

EDGES = (0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.85, 0.9, 0.93, 0.95, 0.97, 0.98, 0.99, 0.995, 0.999)
"""Chances at which a bin that is full enough ends."""

SHARES = (0.50, 0.80, 0.95)

PROMPT, VISIT, WRONG = 1.0, 10.0, 160.0
"""Cost of a prompt, a visit and an instrument that goes out wrong, beside bench minutes [min]; judgement.

Rests and prompts take no bench minutes: they count in the price alone.
"""


def wilson(found: int, of: int, confidence: float = 0.95) -> tuple[float, float]:
    """Bounds of a share (E. B. Wilson, JASA 22, 209 (1927), from memory).

    >>> [round(bound, 3) for bound in wilson(96, 100)]
    [0.902, 0.984]
    """
    if not of:
        return 0.0, 1.0
    z = NormalDist().inv_cdf(0.5 + confidence / 2.0)
    share, spread = found / of, z * z / of
    middle = (share + spread / 2.0) / (1.0 + spread)
    half = z * math.sqrt(share * (1.0 - share) / of + spread / (4.0 * of)) / (1.0 + spread)
    return max(middle - half, 0.0), min(middle + half, 1.0)


def curable(outcomes: Iterable[Outcome]) -> list[Outcome]:
    """Jobs that a setup can finish: without those whose rod is no good and was given up."""
    return [each for each in outcomes if not (each.health != "healthy" and each.ended == "rod given up")]


def share(found: int, of: int) -> str:
    """Write a share with its bounds [%]."""
    low, high = wilson(found, of)
    return f"{100 * found / max(of, 1):5.1f} ({100 * low:.1f} … {100 * high:.1f})"


def mean(values: Sequence[float]) -> float:
    """Mean; 0 of nothing."""
    return sum(values) / len(values) if values else 0.0


HEADINGS = (
    "policy",
    "scenario",
    "jobs",
    "in spec a day later, %",
    "inner too, %",
    "min",
    "readings",
    "prompts",
    "visits",
    "price",
    "ms/answer",
)


def row(policy: str, scenario: str, outcomes: Sequence[Outcome]) -> tuple[str, ...]:
    """One line of the table."""
    counted = curable(outcomes)
    right = sum(each.truly for each in counted)
    wrong = 1.0 - right / max(len(counted), 1)
    minutes, prompts = mean([each.minutes for each in outcomes]), mean([each.prompts for each in outcomes])
    visits = mean([each.visits for each in outcomes])
    answers = sum(each.answers for each in outcomes)
    return (
        policy,
        scenario,
        str(len(outcomes)),
        share(right, len(counted)),
        f"{100 * mean([each.truly and each.inner for each in counted]):.1f}",
        f"{minutes:.1f}",
        f"{mean([each.readings for each in outcomes]):.1f}",
        f"{prompts:.1f}",
        f"{visits:.2f}",
        f"{minutes + PROMPT * prompts + VISIT * visits + WRONG * wrong:.0f}",
        f"{1000 * sum(each.seconds for each in outcomes) / max(answers, 1):.2f}",
    )


def laid_out(rows: Sequence[Sequence[str]]) -> str:
    """Lay rows out in columns."""
    widths = [max(len(line[place]) for line in rows) for place in range(len(rows[0]))]
    return "\n".join(
        "  ".join(cell.ljust(width) for cell, width in zip(line, widths, strict=True)).rstrip()
        for line in rows
    )


def details(policy: str, scenario: str, outcomes: Sequence[Outcome]) -> list[str]:
    """What stands below the table for one policy."""
    lines = [f"{policy}, {scenario}"]
    lines.append("  ended: " + _counted(each.ended for each in outcomes))
    wrong = [each for each in curable(outcomes) if not each.truly]
    lines.append("  out of spec: " + _counted(what for each in wrong for what in each.out))
    lines.append("  by bridge, out of: " + _by_kind(outcomes))
    lines.append("  rules broken: " + _counted(rule for each in outcomes for rule in each.broken))
    lines += _rods(outcomes)
    lines += _calibration(outcomes)
    lines += _coverage(outcomes)
    return lines


def _counted(words: Iterable[str]) -> str:
    counted = Counter(words)
    return ", ".join(f"{word} {count}" for word, count in counted.most_common()) or "none"


def _by_kind(outcomes: Sequence[Outcome]) -> str:
    found = []
    for kind in sorted({each.kind for each in outcomes}):
        of = [each for each in curable(outcomes) if each.kind == kind]
        found.append(f"{kind} {sum(not each.truly for each in of)}/{len(of)}")
    return ", ".join(found)


def _rods(outcomes: Sequence[Outcome]) -> list[str]:
    healthy = [each for each in outcomes if each.health == "healthy"]
    given_up = sum(each.ended == "rod given up" for each in healthy)
    lines = [f"  healthy rods given up: {share(given_up, len(healthy))} of {len(healthy)}"] if healthy else []
    for health in ("dead", "reversed"):
        rods = [each for each in outcomes if each.health == health]
        for what, turns, when in (
            ("suspected", 0.75, [each.suspected_after for each in rods]),
            ("given up", 1.0, [each.given_up_after for each in rods]),
        ):
            # a rod that was turned less, and not judged, has not been tried
            tried = [
                after
                for each, after in zip(rods, when, strict=True)
                if after is not None or each.rod_past_play >= turns
            ]
            soon = sum(after <= turns for after in tried if after is not None)
            if tried:
                within = f"within {turns:g} turn past the play"
                lines.append(f"  {health} rods {what} {within}: {share(soon, len(tried))} of {len(tried)}")
    return lines


def _calibration(outcomes: Sequence[Outcome]) -> list[str]:
    """Stated chances in bins of 300 and more, and how many came true."""
    stated = sorted((chance, true) for each in outcomes for chance, true in each.chances)
    if not stated:
        return ["  chances: none stated"]
    bins: list[list[tuple[float, bool]]] = [[]]
    for pair in stated:
        full = len(bins[-1]) >= LEAST_IN_A_BIN
        if full and bisect(EDGES, pair[0]) > bisect(EDGES, bins[-1][-1][0]):
            bins.append([])
        bins[-1].append(pair)
    if len(bins) > 1 and len(bins[-1]) < LEAST_IN_A_BIN:
        last = bins.pop()
        bins[-1] += last
    lines = ["  chances, stated → seen (seen less stated):"]
    for pairs in bins:
        said, seen = mean([chance for chance, _ in pairs]), mean([float(true) for _, true in pairs])
        ends = f"{pairs[0][0]:.3f} … {pairs[-1][0]:.3f}"
        lines.append(f"    {ends}  {said:.3f} → {seen:.3f} ({seen - said:+.3f}) of {len(pairs)}")
    return lines


def _coverage(outcomes: Sequence[Outcome]) -> list[str]:
    """How often readings fell inside their forecasts."""
    scores = [score for each in outcomes for score in each.scores]
    if not scores:
        return ["  forecasts: none stated"]
    lines = ["  readings inside their forecasts at 50, 80 and 95 %:"]
    for quantity in ["all", *sorted({quantity for quantity, _ in scores})]:
        found = [abs(z) for what, z in scores if quantity in {"all", what}]
        inside = [mean([z <= NormalDist().inv_cdf(0.5 + part / 2.0) for z in found]) for part in SHARES]
        lines.append(
            f"    {quantity}: " + ", ".join(f"{100 * each:.1f}" for each in inside) + f" of {len(found)}"
        )
    return lines
