"""Commands about what the seasons do: forecast, keeping, climates, calendars."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from ._airing import one_named, room_named, text_of
from ._bench import Bench, at_bench
from ._exits import Exit, Stop
from ._places import write_output
from ._speaking import echo

if TYPE_CHECKING:
    from .. import Calendar, Climate, Forecast, ForecastCurve, ForecastDay, Keeping, ReminderKind

KINDS = ("settle-hour", "settle-day", "seasonal", "strings")
AIR = {
    "log": "the room's own log",
    "log-and-model": "the room's own log, and where it is silent the climate's normals",
    "model": "the climate's normals, and how such rooms are kept",
}
KNOWN = {
    "instrument": "learned from this instrument",
    "model": "learned from its model",
    "shop": "learned from this shop's instruments",
    "prior": "not learned yet",
}


@click.command("forecast")
@click.argument("instrument")
@click.option("--every", type=click.IntRange(1, 31), default=30, show_default=True, metavar="DAYS",
              help="A line every so many days.")  # fmt: skip
@click.option("--chart", type=click.Path(dir_okay=False, path_type=Path), metavar="FILE",
              help="Write the picture (SVG).")  # fmt: skip
@at_bench
def forecast(bench: Bench, instrument: str, every: int, chart: Path | None) -> None:
    """Show what the seasons will do to INSTRUMENT, when to look again, and why.

    INSTRUMENT is its serial number, or the number of one of its jobs.

    \b
    shimstock forecast H-0448
    shimstock forecast H-0448 --chart h-0448.svg
    """
    one = bench.instrument(instrument)
    found = bench.client.forecasts.get(one, step=every)
    if chart is not None:
        write_output("--chart", chart, bench.client.forecasts.chart(one))

    def say() -> None:
        _print_forecast(bench, found)
        if chart is not None:
            echo(f"written to {chart}")

    bench.show(found.raw, say)


def _print_forecast(bench: Bench, found: Forecast) -> None:
    from rich.table import Table

    from ._layout import day
    from ._plan_layout import limits, unit
    from ._tables import Text

    bench.console.print(Text(found.sentence))
    for warning in found.warnings:
        bench.console.print(Text(f"the room: {warning.text}"))
    table = Table(box=None, padding=(0, 2, 0, 0), show_edge=False, header_style="underline")
    table.add_column("")
    table.add_column("room")
    for curve in found.quantities:
        table.add_column(f"{_place(curve)} [{unit(curve.value).lstrip('/')}]")
    table.add_row("spec", "", *(Text(limits(curve.lower, curve.upper)) for curve in found.quantities))
    for n, air in enumerate(found.room):
        cells = [_band(curve.days[n]) for curve in found.quantities if n < len(curve.days)]
        humidity = "" if air.relative_humidity is None else f"{air.relative_humidity.value:.0f} %"
        table.add_row(Text(day(air.day) or ""), Text(humidity), *(Text(cell) for cell in cells))
    bench.console.print(table)
    bench.console.print(Text("± one standard deviation, and the chance to be outside the spec"))
    bench.console.print(Text(f"air: {AIR.get(str(found.air.get('source')), '')}{_whose(found)}"))
    for line in dict.fromkeys(_answers(curve) for curve in found.quantities):
        bench.console.print(Text(line))


def _place(curve: ForecastCurve) -> str:
    beside = curve.side or (f"string {curve.string}" if curve.string is not None else "")
    return f"{curve.quantity.replace('-', ' ')} {beside}".strip()


def _band(one: ForecastDay) -> str:
    from ._plan_layout import number

    if one.expected is None or one.probability_out is None:
        return "–"
    chance = 100.0 * one.probability_out
    told = "<1" if chance < 1.0 else ">99" if chance > 99.0 else f"{chance:.0f}"
    return f"{number(one.expected)} ± {number(one.sd)}  {told} %"


def _whose(found: Forecast) -> str:
    air = found.air
    logged = f"{air['logged_days']} days logged" if air.get("logged_days") else ""
    told = "; ".join(part for part in (air.get("climate"), logged) if part)
    return f" ({told})" if told else ""


def _answers(curve: ForecastCurve) -> str:
    told = []
    for one in curve.sensitivities:
        mean, sd = one["per_moisture_percent"]["value"], one["sd"]["value"]
        unit_ = one["sd"]["unit"]
        known = KNOWN.get(one["source"], one["source"])
        told.append(f"{one['of'].replace('-', ' ')} {mean:.2g} ± {sd:.2g} {unit_} ({known})")
    return f"per % of moisture: {', '.join(told)}"


@click.command("keeping")
@click.argument("instrument")
@click.option("--room", "room_name", metavar="NAME", help="It lives in this room, whose air is logged.")
@click.option("--climate", "climate_name", metavar="NAME", help="It lives in a home in this climate.")
@click.option("--hours", type=click.FloatRange(0, 168), metavar="HOURS", help="Played in a week.")
@click.option("--reminders/--no-reminders", default=None, help="Whether its owner wants to be reminded.")
@at_bench
def keeping(bench: Bench, instrument: str, **said: Any) -> None:
    """Show where INSTRUMENT lives and how much it is played, or say it.

    \b
    shimstock keeping H-0448
    shimstock keeping H-0448 --room "music room" --hours 7
    """
    if said["room_name"] and said["climate_name"]:
        raise Stop("--room or --climate: a room has a climate of its own", Exit.USAGE)
    one = bench.instrument(instrument)
    current = bench.client.forecasts.keeping(one)
    wish = _wished(bench, current, said)
    kept = current if wish is None else bench.client.forecasts.keep(one, current=current, **wish)
    bench.show(kept.raw, lambda: echo(_kept_line(bench, kept)))


def _wished(bench: Bench, current: Keeping, said: dict[str, Any]) -> dict[str, Any] | None:
    """Return all that is to stand, what was said before where nothing else is; None without a wish."""
    if all(value is None for value in said.values()):
        return None
    wish: dict[str, Any] = {
        "room_id": current.room_id,
        "climate_id": current.climate_id,
        "hours_per_week": current.hours_per_week if said["hours"] is None else said["hours"],
        "reminders": current.reminders if said["reminders"] is None else said["reminders"],
    }
    if said["room_name"]:
        wish |= {"room_id": room_named(bench, said["room_name"]).id, "climate_id": None}
    elif said["climate_name"]:
        wish |= {"room_id": None, "climate_id": _climate_named(bench, said["climate_name"]).id}
    return wish


def _kept_line(bench: Bench, kept: Keeping) -> str:
    if kept.room_id:
        where = f"lives in {bench.client.rooms.get(kept.room_id).name}"
    elif kept.climate_id:
        where = f"lives in a home in {bench.client.climates.get(kept.climate_id).name}"
    else:
        where = "lives where nobody said: its owner's place, else the shop's climate, is taken"
    played = "" if kept.hours_per_week is None else f"; played {kept.hours_per_week:g} h a week"
    return f"{where}{played}" + ("" if kept.reminders else "; no reminders")


@click.command("climates")
@click.argument("file", required=False, type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.option("--name", help="What to call it; a typical year (EPW) names itself.")
@click.option("--place", help="The place, as it stands in owners' homes.")
@click.option("--source", help="Where the figures are from; a table of months needs it.")
@click.option("--use", "used", metavar="NAME", help="The shop's own climate from now on.")
@at_bench
def climates(bench: Bench, file: Path | None, used: str | None, **told: str | None) -> None:
    """List the climates, or add one from FILE: a table of twelve months, or a typical year in EPW.

    Adding one and --use take a manager's key. The table's headings: month, temperature_degC, and one of
    relative_humidity_percent, dew_point_degC and vapour_pressure_Pa.

    \b
    shimstock climates
    shimstock climates oberau.epw --use Oberau
    shimstock climates oberau.csv --name Oberau --source "weather service, 1991-2020"
    """
    if file is not None:
        _add_climate(bench, file, told)
    elif any(told.values()):
        raise Stop("--name, --place and --source go with a FILE", Exit.USAGE)
    if used is not None:
        settings = bench.client.forecasts.settings()
        bench.client.forecasts.set_up(current=settings, climate_id=_climate_named(bench, used).id)
    own = bench.client.forecasts.settings().climate_id
    found = list(bench.client.climates.list())
    if not found:
        raise Stop("no climate yet; add one from a file", Exit.NOTHING, {"items": []})

    def say() -> None:
        for one in found:
            echo(_climate_line(one) + (": the shop's own" if one.id == own else ""))

    bench.show({"items": [one.raw for one in found], "own": own}, say)


def _add_climate(bench: Bench, file: Path, told: dict[str, str | None]) -> Climate:
    text = text_of(file)
    if text.lstrip().upper().startswith("LOCATION"):
        if told["source"]:
            raise Stop("--source: a typical year names its own", Exit.USAGE)
        return bench.client.climates.from_typical_year(text, name=told["name"], place=told["place"])
    missing = [f"--{name}" for name in ("name", "source") if not told[name]]
    if missing:
        raise Stop(f"{' and '.join(missing)} missing: a table of months does not say it itself", Exit.USAGE)
    return bench.client.climates.from_table(
        text, name=str(told["name"]), source=str(told["source"]), place=told["place"]
    )


def _climate_line(one: Climate) -> str:
    warm = [month.temperature.value for month in one.months if month.temperature is not None]
    place = f" ({one.place})" if one.place and one.place.casefold() not in one.name.casefold() else ""
    first = next((month.temperature for month in one.months if month.temperature is not None), None)
    span = "" if first is None else f", months from {type(first)(min(warm), first.unit)}"
    return f"{one.name}{place}{span}" + ("" if first is None else f" to {type(first)(max(warm), first.unit)}")


def _climate_named(bench: Bench, name: str) -> Climate:
    return one_named(list(bench.client.climates.list()), name, "climate")


@click.command("calendars")
@click.argument("name", required=False)
@click.option("--kind", "kinds", multiple=True, type=click.Choice(KINDS), help="Only these; all else.")
@click.option("--revoke", is_flag=True, help="Make its address useless from now on.")
@at_bench
def calendars(bench: Bench, name: str | None, kinds: tuple[ReminderKind, ...], *, revoke: bool) -> None:
    """List the calendars, or make one and show its address; takes a manager's key.

    Whoever knows the address can read it. It is shown once; a calendar program subscribes to it.

    \b
    shimstock calendars
    shimstock calendars "Rechecks" --kind seasonal --kind strings
    shimstock calendars "Rechecks" --revoke
    """
    known = [one for one in bench.client.calendars.list() if one.revoked_at is None]
    if name is None:
        if revoke or kinds:
            raise Stop("NAME is missing: which calendar?", Exit.USAGE)
        if not known:
            raise Stop("no calendar yet", Exit.NOTHING, {"items": []})
        bench.show({"items": [one.raw for one in known]}, lambda: _list_calendars(known))
        return
    named = [one for one in known if one.name.casefold() == name.strip().casefold()]
    if revoke:
        if len(named) != 1:
            raise Stop(f"{name!r} names {len(named)} calendars: {_names(known)}", Exit.USAGE)
        gone = bench.client.calendars.revoke(named[0])
        bench.show(gone.raw, lambda: echo(f"{gone.name}: its address is useless now"))
        return
    if named:
        raise Stop(f"there is a calendar {named[0].name!r}; its address is shown once only", Exit.CONFLICT)
    made = bench.client.calendars.create(name=name, kinds=kinds)
    bench.show(made.raw, lambda: echo(f"{bench.client.url}{made.path}"))


def _list_calendars(known: list[Calendar]) -> None:
    for one in known:
        whose = ", one owner's" if one.owner_id else ""
        echo(f"{one.name}: {', '.join(one.kinds) or 'every kind'}{whose}")


def _names(known: list[Calendar]) -> str:
    return ", ".join(one.name for one in known) or "none yet"
