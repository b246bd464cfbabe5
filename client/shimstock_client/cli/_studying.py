"""The command that leads through a study of whether the benches read the same: study."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import click

from ._bench import Bench, at_bench
from ._exits import Exit, Stop
from ._measures import NotUnderstood, read_measure
from ._speaking import ask_line, echo
from ._typed import expected_of

if TYPE_CHECKING:
    from .. import NextReading, Quantity, Study, StudyReader, StudyState

HELP = """\
   Type what the tool shows. The order is drawn, and earlier values are not shown: that is the point.
   sure    behind a value that looks odd and was looked at twice: 3.9 sure
   stop    everything so far is kept; shimstock study goes on where you were"""


@click.command("study")
@click.argument("name", required=False)
@click.option("--as", "reader", metavar="READER", help="Read as this one, where it is not clear.")
@click.option("--shows", metavar="VALUE", help="Take one reading without being asked, and say what is next.")
@click.option("--sure", is_flag=True, help="With --shows: the value looks odd, and was looked at twice.")
@click.option("--list", "listed", is_flag=True, help="List the studies and how far each is.")
@click.option("--says", is_flag=True, help="Show what an ended study says.")
@click.option("--end", is_flag=True, help="Everything is read: end it, and show what it says.")
@click.option("--as-it-stands", is_flag=True, help="End it without those who could not read everything.")
@click.option("--abandon", is_flag=True, help="Give it up; nothing is learned from it.")
@at_bench
def study(bench: Bench, name: str | None, *, reader: str | None, **how: Any) -> None:
    """Take your readings of a study: which piece is next, and what does the tool show?

    Every bench reads the same pieces, each in an order of its own and without seeing earlier values. You can
    stop at any time and go on later.

    \b
    shimstock study
    shimstock study "Relief, spring"
    shimstock study "Relief, spring" --shows 0.35
    shimstock study "Relief, spring" --end
    """
    chosen = [one for one in ("listed", "says", "end", "as_it_stands", "abandon") if how[one]]
    if len(chosen) > 1 or (chosen and how["shows"]):
        raise Stop(
            "one thing at a time: --list, --says, --end, --as-it-stands, --abandon, --shows", Exit.USAGE
        )
    if how["listed"]:
        _list(bench)
    elif how["says"]:
        _say(bench, _named(bench, name, "ended"))
    elif chosen:
        _end(bench, _named(bench, name, "open"), chosen[0])
    else:
        _take(bench, _named(bench, name, "open"), reader, how["shows"], sure=how["sure"])


def _list(bench: Bench) -> None:
    found = list(bench.client.studies.list())
    if not found:
        raise Stop("there is no study yet: shimstock study-new begins one", Exit.NOTHING, {"items": []})

    def say() -> None:
        for one in found:
            echo(f"{one.name}: {one.quantity.replace('-', ' ')}, {_progress(one)}")

    bench.show({"items": [one.raw for one in found]}, say)


def _progress(one: Study) -> str:
    if one.state != "open":
        return one.state
    left = ", ".join(f"{reader.name} {reader.left}" for reader in one.readers if reader.left)
    return f"{one.taken} of {one.readings} taken; to read: {left or 'nothing, end it'}"


def _named(bench: Bench, name: str | None, state: StudyState) -> Study:
    found = list(bench.client.studies.list(state=state))
    if not found:
        raise Stop(f"no study is {state}", Exit.NOTHING)
    if name is None:
        if len(found) == 1:
            return found[0]
        raise Stop(f"which study? {', '.join(one.name for one in found)}", Exit.USAGE)
    wanted = name.strip().casefold()
    meant = [one for one in found if one.name.casefold() == wanted or one.id == name] or [
        one for one in found if one.name.casefold().startswith(wanted)
    ]
    if len(meant) == 1 or (meant and state == "ended"):
        return meant[0]  # of ended ones the newest
    told = ", ".join(one.name for one in meant or found)
    raise Stop(f"{name!r} is {'more than one' if meant else 'no'} {state} study: {told}", Exit.USAGE)


# ---------------------------------------------------------------- reading


def _take(bench: Bench, found: Study, named: str | None, shows: str | None, *, sure: bool) -> None:
    number = _reader(bench, found.readers, named)
    wanted = bench.client.studies.next(found, number)
    if wanted is None:
        raise Stop(_through(found, number), Exit.NOTHING)
    if shows is not None:
        value = _read(bench, found, shows)
        following = bench.client.studies.take(found, wanted.number, value, confirmed=sure)
        _show_next(bench, found, number, following)
        return
    if not bench.asks:
        _show_next(bench, found, number, wanted)
        return
    echo(f"{found.name}: you read as {found.readers[number].name}, {wanted.left} left. (? helps)")
    _ask(bench, found, number, wanted)


def _reader(bench: Bench, readers: Sequence[StudyReader], named: str | None) -> int:
    """Find as whom this technician reads: as named, else the one of this bench."""
    numbers = range(len(readers))
    if named is not None:
        wanted = named.strip().casefold()
        meant = [number for number in numbers if readers[number].name.casefold() == wanted]
        meant = meant or [number for number in numbers if readers[number].name.casefold().startswith(wanted)]
    else:
        me = bench.sign_in.technician
        fits = [number for number in numbers if readers[number].technician_id in (None, me)]
        meant = [number for number in fits if readers[number].here]
        meant = [number for number in meant if readers[number].left] or meant
        meant = meant or [number for number in fits if readers[number].technician_id is not None]
    if len(meant) == 1:
        return meant[0]
    told = ", ".join(reader.name for reader in readers)
    raise Stop(f"as whom do you read? Say it with --as: {told}", Exit.USAGE)


def _through(found: Study, number: int) -> str:
    others = sum(reader.left for place, reader in enumerate(found.readers) if place != number)
    if others:
        return f"{found.readers[number].name} has read everything; {others} readings of the others are left."
    return f'all readings are in: shimstock study "{found.name}" --end shows what they say'


def _ask(bench: Bench, found: Study, number: int, wanted: NextReading | None) -> None:
    from .. import Conflict, InvalidFields, NotReachable, uuid7

    expected = expected_of(found.quantity, bench.units)
    asked = None
    sent: dict[tuple[int, str], Any] = {}  # under one id a reading that is typed again is taken once
    while wanted is not None:
        if asked != wanted.number:
            echo(f"{wanted.left:4} left, round {wanted.trial}:  {place_of(wanted.what)}")
            asked = wanted.number
        line = ask_line(f"   it shows [{expected.unit}]", " > ")
        if line.lower() in {"stop", "quit"}:
            echo(f'Kept. Go on with: shimstock study "{found.name}"')
            return
        if line in {"", "?", "help"}:
            echo(HELP)
            continue
        text, _, word = line.rpartition(" ")
        sure = word.lower() == "sure" and bool(text)
        try:
            value = read_measure(text if sure else line, expected)
            mark = sent.setdefault((wanted.number, line), uuid7())
            wanted = bench.client.studies.take(found, wanted.number, value, confirmed=sure, id=mark)
        except NotUnderstood as error:
            echo(f"   not taken: {error}")
        except InvalidFields as error:
            echo("   not taken: " + "; ".join(one.message for one in error.errors) + " (3.9 sure)")
        except NotReachable as error:
            echo(f"   not sent: {error.detail}\n   Type it again when the service is back, or stop.")
        except Conflict as error:
            if error.code != "not-the-next-reading":
                raise
            echo("   not taken: another bench has taken this one meanwhile.")
            wanted = bench.client.studies.next(found, number)
    echo("You are through. " + _through(bench.client.studies.get(found), number))


def _read(bench: Bench, found: Study, text: str) -> Quantity:
    try:
        return read_measure(text, expected_of(found.quantity, bench.units))
    except NotUnderstood as error:
        raise Stop(str(error), Exit.USAGE) from error


def _show_next(bench: Bench, found: Study, number: int, wanted: NextReading | None) -> None:
    def say() -> None:
        if wanted is None:
            echo(_through(bench.client.studies.get(found), number))
            return
        echo(f"Next: {place_of(wanted.what)} ({wanted.left} left, round {wanted.trial}).")

    bench.show({"study_id": found.id, "next": None if wanted is None else wanted.raw}, say)


def place_of(what: Mapping[str, Any]) -> str:
    """Say which piece, and where it is read: "K-0117, bass side, held 1–22, at fret 9"."""
    parts = [str(what.get("name"))]
    if what.get("pickup"):
        parts.append(f"{what['pickup']} pickup")
    if what.get("side"):
        parts.append(f"{what['side']} side")
    if what.get("string") is not None:
        parts.append(f"string {what['string']}")
    if what.get("held"):
        parts.append("held " + "–".join(str(fret) for fret in what["held"]))
    if what.get("fret") is not None:
        parts.append(f"at fret {what['fret']}")
    return ", ".join(parts)


# ---------------------------------------------------------------- ending


def _end(bench: Bench, found: Study, how: str) -> None:
    if how == "abandon":
        given_up = bench.client.studies.end(found, abandon=True)
        bench.show(given_up.raw, lambda: echo(f"{found.name} is given up; nothing is learned from it."))
        return
    _say(bench, bench.client.studies.end(found, as_it_stands=how == "as_it_stands"))


def _say(bench: Bench, ended: Study) -> None:
    told = bench.client.studies.agreement(ended)

    def say() -> None:
        echo(f"{ended.name}, {ended.quantity.replace('-', ' ')}:")
        for line in told.words:
            echo(f"  {line}")
        for one in told.raw["methods"][0]["readers"]:
            off, own = one["difference"], one["repeatability"]
            echo(
                f"  {one['name']}: reads {off['value']:+g} {off['unit']} from the mean, "
                f"repeats to {own['value']:g} {own['unit']}"
            )
        echo("From now on readings at these benches carry what each repeats to.")

    bench.show(told.raw, say)
