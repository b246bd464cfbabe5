"""Commands about whether a bench still reads the same: check, check-piece, benches."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import click

from ._bench import Bench, at_bench
from ._exits import Exit, Stop
from ._measures import NotUnderstood, read_measure
from ._places import write_output
from ._speaking import ask_line, echo
from ._typed import expected_of, split_quantity

if TYPE_CHECKING:
    from .. import CheckPiece, CheckReading, Quantity

IN_CONTROL, TOO_LITTLE = "in control", "too little history"
WHAT_NOW = (
    "Clean tool and piece, and check once more. If it stays so, tell the manager: what is read at this bench "
    "today cannot be trusted."
)


@click.command("check")
@click.argument("entries", nargs=-1, metavar="[PIECE] [VALUE]...")
@click.option("--sure", is_flag=True, help="The values look odd, and were looked at twice.")
@click.option("--note", "-n", help="What others should know, such as a new battery.")
@click.option("--show", is_flag=True, help="Only show how the pieces of this bench stand.")
@at_bench
def check(bench: Bench, entries: tuple[str, ...], *, sure: bool, note: str | None, show: bool) -> None:
    """Read this bench's check piece, once a day: does it still read the same?

    Without values it asks for them. The limits come from the bench's own days.

    \b
    shimstock check
    shimstock check 1.00 1.01 1.00
    shimstock check "block 1.00" 1.00 1.01 1.00
    """
    pieces = list(bench.client.check_pieces.list(here=True, active=True))
    if not pieces:
        raise Stop(
            "this bench has no check piece yet: shimstock check-piece adds one", Exit.NOTHING, {"items": []}
        )
    if show:
        bench.show({"items": [piece.raw for piece in pieces]}, lambda: _list(pieces))
        return
    if not entries:
        _ask_all(bench, pieces, sure=sure, note=note)
        return
    piece, typed = _chosen(pieces, entries)
    _answer(bench, piece, _send(bench, piece, _values(bench, piece, typed), sure=sure, note=note))


def _list(pieces: Sequence[CheckPiece]) -> None:
    for piece in pieces:
        echo(standing_line(piece))


def standing_line(piece: CheckPiece) -> str:
    """Write how a check piece stands: "block 1.00, relief: 1 mm, in control, on 2026-03-02"."""
    what = f"{piece.name}, {piece.quantity.replace('-', ' ')}"
    if piece.newest is None:
        return f"{what}: not read yet"
    drifts = ": IT DRIFTS" if piece.drifting else ": IT REPEATS BADLY" if piece.repeats_badly else ""
    return f"{what}: {piece.newest.mean}, {piece.newest.verdict}, on {piece.newest.day}{drifts}"


def _chosen(pieces: Sequence[CheckPiece], entries: tuple[str, ...]) -> tuple[CheckPiece, tuple[str, ...]]:
    """Tell the piece from the values: a piece is named first, unless the bench has only one."""
    wanted = entries[0].strip().casefold()
    found = [one for one in pieces if one.name.casefold() == wanted or one.id == entries[0]]
    if not found and not wanted[:1].isdecimal():
        found = [one for one in pieces if one.name.casefold().startswith(wanted)]
    if len(found) == 1:
        return found[0], entries[1:]
    if not found and len(pieces) == 1:
        return pieces[0], entries
    names = ", ".join(one.name for one in found or pieces)
    raise Stop(f"which piece? {names}", Exit.USAGE)


def _values(bench: Bench, piece: CheckPiece, typed: Sequence[str]) -> list[Quantity]:
    expected = expected_of(piece.quantity, bench.units)
    try:
        values = [read_measure(text, expected) for text in typed]
    except NotUnderstood as error:
        raise Stop(str(error), Exit.USAGE) from error
    if len(values) != piece.repetitions:
        often = "once" if piece.repetitions == 1 else f"{piece.repetitions} times"
        raise Stop(f"{piece.name} is read {often}, taken up anew each time", Exit.USAGE)
    return values


def _ask_all(bench: Bench, pieces: Sequence[CheckPiece], *, sure: bool, note: str | None) -> None:
    if not bench.asks:
        told = ", ".join(f"{one.name} ({one.repetitions})" for one in pieces)
        raise Stop(f"the values are missing; this bench reads {told}", Exit.USAGE)
    for piece in pieces:
        expected = expected_of(piece.quantity, bench.units)
        values: list[Quantity] = []
        while len(values) < piece.repetitions:
            nth = f" {len(values) + 1} of {piece.repetitions}" if piece.repetitions > 1 else ""
            line = ask_line(f"{piece.name}{nth} [{expected.unit}]", " > ")
            try:
                values.append(read_measure(line, expected))
            except NotUnderstood as error:
                echo(f"   not taken: {error}")
        _answer(bench, piece, _send(bench, piece, values, sure=sure, note=note))


def _send(
    bench: Bench, piece: CheckPiece, values: Sequence[Quantity], *, sure: bool, note: str | None
) -> CheckReading:
    more: dict[str, Any] = {"confirmed": sure}
    if note:
        more["note"] = note
    return bench.client.check_pieces.check(piece, values, **more)


def _answer(bench: Bench, piece: CheckPiece, checked: CheckReading) -> None:
    def say() -> None:
        for line in verdict_lines(piece, checked):
            echo(line)

    bench.show(checked.raw, say)


def verdict_lines(piece: CheckPiece, checked: CheckReading) -> list[str]:
    """Say what a check means; `piece` as it stood before it, with the limits that it was judged by."""
    if checked.verdict == TOO_LITTLE:
        left = piece.days_to_limits - (piece.newest is None or piece.newest.day != checked.day)
        more = f"in {left} more day{'' if left == 1 else 's'}" if left > 0 else "from tomorrow on"
        return [f"{piece.name}: {checked.mean}, kept. Limits can be drawn {more}."]
    limits = piece.limits
    within = ""
    if limits is not None and limits.lower is not None:
        within = f" (limits {limits.lower.value:g} … {limits.upper}, from {limits.days} days)"
    if checked.verdict == IN_CONTROL:
        return [f"{piece.name}: {checked.mean}, in control{within}."]
    if "reads" not in checked.verdict:
        return [f"{piece.name}: {checked.mean}: THIS BENCH REPEATS BADLY today.", WHAT_NOW]
    return [f"{piece.name}: {checked.mean}: THIS BENCH DRIFTS, it {checked.verdict}{within}.", WHAT_NOW]


@click.command("check-piece")
@click.argument("name")
@click.argument("quantity")
@click.argument("stated", required=False)
@click.option("--with", "tool", metavar="TOOL", help="The tool that it is read with.")
@click.option("--times", type=click.IntRange(1, 20), default=3, show_default=True, help="Readings a day.")
@click.option("--instead-of", metavar="PIECE", help="The piece that it replaces.")
@click.option("--anew", is_flag=True, help="Draw the limits of this piece anew from today on; see --note.")
@click.option("--retire", is_flag=True, help="This piece is no longer read.")
@click.option("--note", "-n", help="What others should know, such as what was repaired.")
@at_bench
def check_piece(bench: Bench, name: str, quantity: str, stated: str | None, **how: Any) -> None:
    """Give this bench a check piece, or have its limits drawn anew after a repair.

    A check piece never changes: a gauge block, a steel rule in a jig, a neck that hangs on the wall.

    \b
    shimstock check-piece "block 1.00" relief 1.00 --with feeler
    shimstock check-piece "block 2.00" relief 2.00 --instead-of "block 1.00"
    shimstock check-piece "block 1.00" relief --anew --note "new dial"
    """
    try:
        meant, rest = split_quantity(quantity)
        value = None if stated is None else read_measure(stated, expected_of(meant, bench.units))
    except NotUnderstood as error:
        raise Stop(str(error), Exit.USAGE) from error
    if rest:
        raise Stop(f"quantity: {quantity!r} is more than a quantity", Exit.USAGE)
    if how["anew"] or how["retire"]:
        changed = _change(bench, _named(bench, name), how)
        bench.show(changed.raw, lambda: echo(_changed(changed)))
        return
    before = _named(bench, how["instead_of"]) if how["instead_of"] else None
    wish: dict[str, Any] = {"name": name, "quantity": meant, "repetitions": how["times"]}
    if how["tool"]:
        from ._signing import find_tool

        known = [tool for tool in bench.client.tools.list(limit=500) if tool.active]
        wish["tool_id"] = find_tool(known, how["tool"]).id
    if value is not None:
        wish["stated"] = value
    if how["note"]:
        wish["note"] = how["note"]
    made = bench.client.check_pieces.create(**wish)
    if before is not None:
        bench.client.check_pieces.update(before, active=False)
    bench.show(made.raw, lambda: echo(f"{made.name} is read at this bench now: shimstock check"))


def _named(bench: Bench, name: str) -> CheckPiece:
    pieces = list(bench.client.check_pieces.list(here=True, active=True))
    wanted = name.strip().casefold()
    found = [one for one in pieces if one.name.casefold() == wanted or one.id == name]
    if len(found) != 1:
        told = ", ".join(one.name for one in pieces) or "none yet"
        raise Stop(f"{name!r} is no check piece of this bench: {told}", Exit.USAGE)
    return found[0]


def _change(bench: Bench, piece: CheckPiece, how: Mapping[str, Any]) -> CheckPiece:
    changes: dict[str, Any] = {}
    if how["retire"]:
        changes["active"] = False
    else:
        from datetime import UTC, datetime
        from zoneinfo import ZoneInfo

        shop = bench.shop
        changes["limits_from"] = datetime.now(ZoneInfo(shop.zone) if shop and shop.zone else UTC).date()
    if how["note"]:
        changes["note"] = how["note"]
    return bench.client.check_pieces.update(piece, **changes)


def _changed(piece: CheckPiece) -> str:
    if not piece.active:
        return f"{piece.name} is no longer read."
    return f"{piece.name}: limits are drawn anew from {piece.limits_from} on."


@click.command("benches")
@click.option("--page", metavar="FILE", help="Write it as a page with pictures (HTML).")
@at_bench
def benches(bench: Bench, page: str | None) -> None:
    """Show whether the benches read the same: who drifts, how well each repeats, what studies said."""
    report = bench.client.reports.bench_agreement()
    if page is not None:
        write_output("--page", page, bench.client.reports.bench_agreement_page())
        bench.show(dict(report), lambda: echo(f"written to {page}"))
        return

    def say() -> None:
        for one in report["benches"]:
            echo(f"{one['name']}: {_state(one)}")
            for each in one["repeats"]:
                value = each["repeatability"]
                with_tool = f" with {each['tool']}" if each["tool"] else ""
                echo(
                    f"  {each['quantity'].replace('-', ' ')}{with_tool} repeats to {value['value']:g} "
                    f'{value["unit"]} (the study "{each["study"]}")'
                )
        for study in report["studies"]:
            echo(f"{study['name']}, {study['quantity'].replace('-', ' ')}:")
            for line in study["words"]:
                echo(f"  {line}")

    bench.show(dict(report), say)


def _state(one: Mapping[str, Any]) -> str:
    if not one["pieces"]:
        return "no check piece yet"
    if one["checked_on"] is None:
        return "not checked yet"
    when = "checked today" if one["checked_today"] else f"last checked on {one['checked_on']}"
    told = [
        f"{word}: {', '.join(names)}"
        for word, name in (("DRIFTS", "drifting"), ("REPEATS BADLY", "repeats_badly"))
        if (names := [piece["name"] for piece in one["pieces"] if piece[name]])
    ]
    return ", ".join([when, *(told or ["no drift"])])
