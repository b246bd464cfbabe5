"""The command that shows and sets what the plans reckon with: prices."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import click

from ._bench import Bench, at_bench
from ._exits import Exit, Stop
from ._speaking import echo

if TYPE_CHECKING:
    from .. import Shop, WorkMinutes

GROUPS = {"reading": "A reading", "adjustment": "An adjustment"}
USUAL = "usual"
TOLD = {
    "wrong": "an instrument that goes out wrong costs",
    "prompt": "looking up the next step",
    "visit": "coming back to the bench after a rest",
    "retune": "tuning after an adjustment that detunes",
    "retune_floating": "the same on a tremolo that floats",
}


@click.command("prices")
@click.argument("changes", nargs=-1, metavar="[NAME MINUTES]...")
@click.option(
    "--everything/--what-moved",
    "everything",
    default=None,
    help="The final check reads everything once more, or only what moved since it was read.",
)
@at_bench
def prices(bench: Bench, *, changes: tuple[str, ...], everything: bool | None) -> None:
    """Show what the plans reckon with, in bench minutes, or change it; changing takes a manager's key.

    What is worth reading or adjusting follows from these minutes. What the shop sets here counts; else
    the median of what this shop's closed jobs took, once there are enough of a kind; else what is usual.
    A job stays with what was learned when its first reading came. The word `usual` takes one back.

    \b
    shimstock prices
    shimstock prices wrong 240 relief 1.5 truss-rod 2
    shimstock prices relief usual
    shimstock prices --everything
    """
    shop = bench.shop
    if shop is None:
        raise Stop("the shop is not set up yet", Exit.NOTHING)
    fields: dict[str, Any] = {"prices": _changed(shop, changes)} if changes else {}
    if everything is not None:
        fields["everything_at_the_end"] = everything
    if fields:
        shop = bench.client.shop.update(shop, **fields)
    shown = {
        "prices": shop.prices,
        "minutes": [each.raw for each in shop.minutes],
        "everything_at_the_end": shop.everything_at_the_end,
    }
    bench.show(shown, lambda: _say(shop))


def _changed(shop: Shop, changes: tuple[str, ...]) -> dict[str, Any]:
    if len(changes) % 2:
        raise Stop("say NAME MINUTES, e.g. shimstock prices relief 1.5", Exit.USAGE)
    prices: Mapping[str, Any] = shop.prices
    groups = {name: group for group in GROUPS for name in prices[group]}
    known = [*TOLD, *groups]
    changed: dict[str, Any] = {}
    for said, text in zip(changes[::2], changes[1::2], strict=True):
        name = said if said in groups else said.replace("-", "_")
        if name not in known:
            names = ", ".join(each.replace("_", "-") for each in known)
            raise Stop(f"{said}: nothing is reckoned with under this name; known are {names}", Exit.USAGE)
        group = changed.setdefault(groups[name], {}) if name in groups else changed
        group[name] = None if text == USUAL else _minutes(said, text)
    return changed


def _minutes(name: str, text: str) -> float:
    try:
        return float(text.replace(",", "."))
    except ValueError:
        raise Stop(f"{name}: minutes such as 1.5, or {USUAL}; {text} was given", Exit.USAGE) from None


def _say(shop: Shop) -> None:
    prices: Mapping[str, Any] = shop.prices
    for name, told in TOLD.items():
        echo(f"{name.replace('_', '-'):<16} {prices[name]:>7g} min  {told}")
    for group, title in GROUPS.items():
        echo(f"\n{title}:")
        for each in shop.minutes:
            if each.of == group:
                echo(f"{each.name:<16} {each.minutes:>7g} min  {_source(each)}")
    what = "everything once more" if shop.everything_at_the_end else "what moved since it was read"
    echo(f"\nThe final check reads {what}.")


def _source(each: WorkMinutes) -> str:
    """Say where minutes come from, and what else is known."""
    if each.source == "usual" and not each.count:
        return "usual"
    seen = f"median of {each.count} in closed jobs"
    if each.source == "learned":
        return f"learned, {seen}; usual {each.usual:g}"
    known = [f"usual {each.usual:g}"] if each.source == "own" else ["usual"]
    if each.learned is not None:
        few = "" if each.source == "own" else ", too few yet"
        known.append(f"{each.learned:g} is the {seen}{few}")
    return "; ".join([*(["set by the shop"] if each.source == "own" else []), *known])
