"""Commands about who works here: sign-in, who, tools, sign-out."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import click

from . import _sign_in
from ._bench import Bench, at_bench
from ._exits import Exit, Stop
from ._sign_in import SignIn
from ._speaking import ask, echo

if TYPE_CHECKING:
    from .. import Technician, Tool


@click.command("sign-in")
@click.argument("url", required=False)
@click.option("--technician", "-t", metavar="NAME", help="Who works at this bench: a name, or an id.")
@click.option(
    "--key-file", type=click.Path(allow_dash=True), help="File that holds the API key; - = standard input."
)
@click.option(
    "--units", type=click.Choice(["mm", "inch"]), help="How you read: mm, or inches with 64ths and thou."
)
@at_bench
def sign_in(
    bench: Bench, url: str | None, technician: str | None, key_file: str | None, units: str | None
) -> None:
    """Say where the service is, your key, and who you are.

    Kept in a file that only you can read. The key is asked for and never shown; SHIMSTOCK_URL, SHIMSTOCK_KEY
    and SHIMSTOCK_TECHNICIAN go before the file; SHIMSTOCK_FILES names another folder for it.

    \b
    shimstock sign-in https://shimstock.example --technician "Robin"
    """
    address = url or _ask(bench, "Address of the service", "URL")
    key = _read_key(bench, key_file)
    asked = SignIn(address.strip(), key, units=_sign_in.checked_units(units))
    client = bench.make_client(asked)
    _caution_plain_http(bench, client.url)
    who = _choose(bench, list(client.technicians.list(limit=500)), technician)
    signed = replace(asked, url=client.url, technician=who.id, technician_name=who.name)
    place = _sign_in.save(signed)
    bench.show(
        {"url": signed.url, "technician_id": who.id, "technician": who.name, "file": place},
        lambda: echo(f"Signed in at {signed.url} as {who.name}. Kept in {place}, readable by you alone."),
    )


def _ask(bench: Bench, what: str, option: str) -> str:
    if not bench.asks:
        raise Stop(f"{what} is missing: give it as {option}", Exit.USAGE)
    return str(ask(what))


def _read_key(bench: Bench, key_file: str | None) -> str:
    if key_file is not None:
        try:
            with click.open_file(key_file) as file:
                key = str(file.read()).strip()
        except OSError as error:
            raise Stop(f"--key-file: {error.strerror}: {key_file}", Exit.USAGE) from error
        if not key:
            raise Stop(f"--key-file: {key_file} is empty", Exit.USAGE)
        return key
    if not bench.asks:
        raise Stop("the key is missing: give --key-file FILE, or - for standard input", Exit.USAGE)
    return str(ask("Key", hide_input=True)).strip()


def _caution_plain_http(bench: Bench, url: str) -> None:
    from .._connection import CAUTION, key_is_readable

    if key_is_readable(url):
        bench.tell(f"caution: {CAUTION}")


def _choose(bench: Bench, people: Sequence[Technician], named: str | None) -> Technician:
    people = [one for one in people if one.active]
    if not people:
        raise Stop("the shop has no technicians yet; a manager adds them", Exit.REFUSED)
    if named is None and bench.asks:
        for number, one in enumerate(people, 1):
            echo(f"{number:3}  {one.name}")
        picked = ask("Who are you? Number", type=click.IntRange(1, len(people)))
        return people[int(picked) - 1]
    if named is None:
        if len(people) == 1:
            return people[0]
        names = ", ".join(one.name for one in people)
        raise Stop(f"--technician is missing; one of {names}", Exit.USAGE)
    return the_one(people, named)


def the_one(people: Sequence[Technician], named: str) -> Technician:
    """Find the one technician who is meant.

    Raises
    ------
    Stop
        When there is none, or more than one.
    """
    wanted = named.strip().casefold()
    found = [one for one in people if one.id == named or one.name.casefold() == wanted]
    found = found or [one for one in people if one.name.casefold().startswith(wanted)]
    if len(found) == 1:
        return found[0]
    names = ", ".join(one.name for one in people)
    problem = "is nobody here" if not found else "is more than one of us"
    raise Stop(f"{named!r} {problem}; one of {names}", Exit.USAGE)


@click.command("sign-out")
@at_bench
def sign_out(bench: Bench) -> None:
    """Forget address, key and technician on this machine.

    Sheets that are not sent yet stay.
    """
    if not _sign_in.forget():
        raise Stop("nobody was signed in here", Exit.NOTHING, {"signed_out": False})
    bench.show({"signed_out": True}, lambda: echo("Signed out."))


@click.command("who")
@at_bench
def who(bench: Bench) -> None:
    """Show who is signed in, and where; asks the service."""
    signed = bench.sign_in
    shop = bench.shop
    name = signed.technician_name
    if signed.technician:
        person = bench.technicians.get(signed.technician)
        name = person.name if person else name
    answer = {
        "url": bench.client.url,
        "shop": shop.name if shop else None,
        "technician_id": signed.technician,
        "technician": name,
        "units": bench.units,
        "tools": list(signed.tools),
    }

    def say() -> None:
        echo(
            f"{name or 'no technician'} at {answer['shop'] or 'a shop that is not set up'} ({answer['url']})"
        )
        echo(f"bare numbers are {'mm' if bench.units == 'mm' else '64ths of an inch and thou'}, or cents")
        if signed.tools:
            echo("tools: " + ", ".join(signed.tools))

    bench.show(answer, say)


@click.command("tools")
@click.option(
    "--use", multiple=True, metavar="NAME", help="Measure with this from now on; once for each tool."
)
@at_bench
def tools(bench: Bench, use: tuple[str, ...]) -> None:
    """List the measuring tools; --use says which ones are yours.

    Readings that name no tool of their own are then taken to be read with yours.

    \b
    shimstock tools --use "feeler leaves" --use "depth gauge"
    """
    known = [tool for tool in bench.client.tools.list(limit=500) if tool.active]
    if use:
        chosen = tuple(find_tool(known, name).name for name in use)
        _sign_in.remember_tools(chosen)
    else:
        chosen = bench.sign_in.tools

    def say() -> None:
        for tool in known:
            mark = "yours" if tool.name in chosen else ""
            repeats = f", repeats to {tool.repeatability}" if tool.repeatability else ""
            echo(f"{mark:6}{tool.name}: {', '.join(tool.quantities)}; reads to {tool.resolution}{repeats}")

    bench.show({"items": [tool.raw for tool in known], "yours": list(chosen)}, say)


def find_tool(known: Sequence[Tool], named: str, read: Collection[str] = ()) -> Tool:
    """Find the one tool that is meant; of several, the one that measures what is `read`.

    Raises
    ------
    Stop
        When there is none, or more than one.
    """
    wanted = named.strip().casefold()
    found = [tool for tool in known if tool.name.casefold() == wanted or tool.id == named]
    found = found or [tool for tool in known if wanted in tool.name.casefold()]
    if len(found) > 1:
        found = [tool for tool in found if not read or set(read).intersection(tool.quantities)] or found
    if len(found) == 1:
        return found[0]
    names = ", ".join(tool.name for tool in found or known) or "none are set up"
    problem = "is no tool here" if not found else "could be more than one tool"
    raise Stop(f"{named!r} {problem}: {names}", Exit.USAGE)
