"""The command that begins a study: study-new."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import click

from ._bench import Bench, at_bench
from ._exits import Exit, Stop
from ._measures import NotUnderstood, read_measure
from ._speaking import echo
from ._typed import expected_of, read_reading, split_quantity

if TYPE_CHECKING:
    from .. import Bench as ShopBench
    from .. import Study


PLACE = ("side", "string", "pickup", "fret", "held")


@click.command("study-new")
@click.argument("name")
@click.argument("quantity")
@click.option(
    "--piece",
    "-p",
    "pieces",
    multiple=True,
    metavar="'SERIAL PLACE'",
    help="What is read: an instrument by its serial and where, or anything with a name.",
)
@click.option(
    "--at",
    "places",
    multiple=True,
    metavar="'BENCH: TECHNICIAN'",
    help="Who reads: a bench, and who if it matters.",
)
@click.option("--with", "tool", metavar="TOOL", help="The tool that everybody reads with.")
@click.option("--rounds", type=click.IntRange(2, 10), default=3, show_default=True)
@click.option("--tolerance", metavar="WIDTH", help="Upper less lower limit of the spec that it serves.")
@click.option("--note", "-n", help="What others should know.")
@at_bench
def study_new(bench: Bench, name: str, quantity: str, **how: Any) -> None:
    """Begin a study of whether the benches read the same.

    Ten pieces that differ as instruments do, everybody who reads, three rounds are usual; two of each are the
    least. A place is written as for a reading: `bass`, `3` for a string, `held 1-22 at 9`.

    \b
    shimstock study-new "Relief, spring" relief --with feeler --tolerance 0.2
        --piece "K-0117 bass held 1-21 at 8" --piece "H-0448 bass held 1-21 at 8"
        --at "window bench" --at "back bench: Mirela"
    """
    try:
        meant, rest = split_quantity(quantity)
        if rest:
            raise NotUnderstood(f"quantity: {quantity!r} is more than a quantity")
        wish: dict[str, Any] = {
            "name": name,
            "quantity": meant,
            "pieces": _pieces(bench, meant, how["pieces"]),
            "trials": how["rounds"],
        }
        if how["tolerance"]:
            wish["tolerance"] = read_measure(how["tolerance"], expected_of(meant, bench.units))
    except NotUnderstood as error:
        raise Stop(str(error), Exit.USAGE) from error
    tool = _tool(bench, how["tool"])
    benches = [one for one in bench.client.benches.list(limit=500) if one.active]
    wish["readers"] = [_reader(bench, benches, text) | tool for text in how["places"]]
    if how["note"]:
        wish["note"] = how["note"]
    made = bench.client.studies.create(**wish)
    bench.show(made.raw, lambda: echo(_begun(made)))


def _begun(made: Study) -> str:
    each = made.readings // max(1, len(made.readers))
    return (
        f"{made.name} is open: {each} readings each for {', '.join(one.name for one in made.readers)}.\n"
        f'At each bench: shimstock study "{made.name}"'
    )


def _pieces(bench: Bench, quantity: str, texts: Sequence[str]) -> list[dict[str, Any]]:
    """Read the pieces; an instrument that is read at several places is named with each."""
    pieces = [_piece(bench, quantity, text) for text in texts]
    often = Counter(piece["name"] for piece in pieces)
    return [
        piece | {"name": " ".join(text.split())} if often[piece["name"]] > 1 else piece
        for piece, text in zip(pieces, texts, strict=True)
    ]


def _piece(bench: Bench, quantity: str, text: str) -> dict[str, Any]:
    """Read a piece: a serial that the shop knows and a place, else a name."""
    serial, _, place = text.strip().partition(" ")
    found = list(bench.client.instruments.list(serial=serial)) if serial else []
    if len(found) != 1:
        return {"name": " ".join(text.split())}
    return {"name": serial, "instrument_id": found[0].id, **_place(quantity, place)}


def _place(quantity: str, text: str) -> dict[str, Any]:
    """Read a place as it stands in a reading."""
    reading = read_reading(f"{quantity} {text} 1")
    return {name: reading[name] for name in PLACE if name in reading}


def _reader(bench: Bench, benches: Sequence[ShopBench], text: str) -> dict[str, Any]:
    place, _, person = (part.strip() for part in text.partition(":"))
    wanted = place.casefold()
    found = [one for one in benches if one.name.casefold() == wanted] or [
        one for one in benches if one.name.casefold().startswith(wanted)
    ]
    if len(found) != 1:
        told = ", ".join(one.name for one in found or benches) or "none yet"
        problem = "more than one bench" if found else "no bench here"
        raise Stop(f"--at: {place!r} is {problem}: {told}", Exit.USAGE)
    reader: dict[str, Any] = {"bench_id": found[0].id}
    if person:
        from ._signing import the_one

        people = [one for one in bench.technicians.values() if one.active]
        reader["technician_id"] = the_one(people, person).id
    return reader


def _tool(bench: Bench, named: str | None) -> dict[str, Any]:
    if named is None:
        return {}
    from ._signing import find_tool

    known = [tool for tool in bench.client.tools.list(limit=500) if tool.active]
    return {"tool_id": find_tool(known, named).id}
