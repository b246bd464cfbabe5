"""Reports as they stand on a screen: the ranking, one model, many models in a line each."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any

from rich.table import Table

from .._quantity import Quantity
from ._plan_layout import NARROW, number, turns, unit
from ._tables import Text

if TYPE_CHECKING:
    from ._tables import Console

Raw = Mapping[str, Any]
NONE = "–"
WITH_CPK = 100
"""Columns from which the readings have room for capability and its interval."""
SECOND = 30
"""Longest line below a name; what is longer becomes two, not broken within a range."""
ENDS = {"as-received": "received", "final": "final"}


def print_ranking(console: Console, ranking: Raw) -> None:
    """Print the models by what a job on them costs."""
    by_cost = ranking["ranked_by"] == "cost"
    console.print(
        Text(f"Models by what a job {'costs' if by_cost else 'takes'}, {_days(ranking)}", style="bold")
    )
    narrow = console.width < NARROW
    names = ["", "model", "cost" if by_cost else "minutes", "jobs"]
    table = _table(
        names if narrow else [*names, "minutes", "parts", "came back", "received", "returned"], left=(1,)
    )
    for row in ranking["items"]:
        cells = [
            f"{row['rank']}",
            f"{row['maker']} {row['name']}",
            _money(row["cost_mean"]) if by_cost else _bare(row["bench_minutes_mean"]),
            f"{row['jobs']}",
            _bare(row["bench_minutes_mean"]),
            _money(row["parts_mean"]),
            f"{row['came_back']}",
            _share(row["received_in_spec"]),
            _share(row["returned_in_spec"]),
        ]
        table.add_row(*(Text(cell) for cell in cells[: 4 if narrow else None]))
    console.print(table)
    if by_cost:
        console.print(Text(f"cost: bench minutes at the shop's rate, and parts [{ranking['currency']}]"))
    else:
        console.print(Text("the shop has no rate yet, so there is no cost"))
    if ranking["waiting"]:
        console.print(Text(f"{ranking['waiting']} jobs changed since they were counted"))


def print_report(console: Console, report: Raw) -> None:
    """Print what the shop knows of a model."""
    kind = report["kind"].replace("-", " ")
    console.print(Text(f"{report['maker']} {report['name']}, {kind}, {_days(report)}", style="bold"))
    for line in _chief_lines(report):
        console.print(Text(line))
    if report["quantities"]:
        console.print()
        console.print(_readings(report, narrow=console.width < WITH_CPK))
    suggesting = [each for each in report["quantities"] if each["suggestion"] is not None]
    for heading, lines in (
        ("Done", [_doing(each) for each in report["steps"]]),
        ("Found as received", [_doing(each) for each in report["findings"]]),
        ("With the moisture of the room's air", [_follows(each) for each in report["against_moisture"]]),
        ("A spec that the readings suggest", [_suggested(each) for each in suggesting]),
    ):
        if lines:
            console.print()
            console.print(Text(heading, style="bold"))
        for line in lines:
            console.print(Text(f"  {line}"))


def print_summary(console: Console, reports: Iterable[Raw]) -> None:
    """Print many models, a line each."""
    table = _table(["model", "jobs", "minutes", "cost", "came back", "in spec before", "after"], left=(0,))
    for report in reports:
        jobs = report["jobs"]
        cells = [
            f"{report['maker']} {report['name']}",
            f"{jobs['count']}",
            _bare(jobs["bench_minutes"]["mean"]),
            _money(jobs["cost_mean"]),
            f"{jobs['came_back']}",
            _share(report["received"]["share_in_spec"]),
            _share(report["returned"]["share_in_spec"]),
        ]
        table.add_row(*(Text(cell) for cell in cells))
    console.print(table)


def print_calibration(console: Console, report: Raw) -> None:
    """Print how often readings fell inside what was stated, and how much tools scatter."""
    console.print(Text(f"Readings inside their forecasts, {_days(report)}", style="bold"))
    bounds = console.width >= NARROW
    table = _table(["", "readings", "in 50 %", "in 80 %", "in 95 %"], left=(0,))
    by = "all"
    for group in report["groups"]:
        if group["by"] != by:
            by = group["by"]
            table.add_row(Text(f"by {by}", style="underline"))
        for name, shares in ((group["name"], group["shares"]), ("  doubtful", group["doubtful"])):
            if shares:
                told = [f"{_share(each['seen'])}{_bounds(each) if bounds else ''}" for each in shares]
                table.add_row(*(Text(cell) for cell in (name, f"{shares[0]['of']}", *told)))
    console.print(table)
    if bounds:
        console.print(Text("in brackets: where the true share lies, with 95 % confidence"))
    if report["noises"]:
        console.print()
        console.print(Text("How much tools scatter", style="bold"))
    for each in report["noises"]:
        console.print(Text(f"  {each['words']}"))


def _bounds(share: Raw) -> str:
    return f" ({100.0 * share['lower']:.0f} … {100.0 * share['upper']:.0f})"


def _chief_lines(report: Raw) -> Iterable[str]:
    jobs = report["jobs"]
    if not jobs["count"]:
        yield "no job was done in these days"
        return
    cost = "" if jobs["cost_mean"] is None else f" and {_money(jobs['cost_mean'])} {report['currency']}"
    minutes, days = _told(jobs["bench_minutes"]["mean"]), _told(jobs["turnaround"]["median"])
    yield (
        f"{jobs['count']} jobs done, {jobs['came_back']} came back within 90 days; "
        f"{minutes}{cost} a job, ready after {days}"
    )
    yield (
        f"in spec as received {_share(report['received']['share_in_spec'])}, as returned "
        f"{_share(report['returned']['share_in_spec'])}; new strings in {jobs['restrung']}, another gauge in "
        f"{jobs['gauge_changed']}"
    )


def _readings(report: Raw, *, narrow: bool) -> Table:
    names = ["", "", "n", "median", "middle 80 %", "in spec"]
    table = _table(names if narrow else [*names, "Cpk"], left=(0, 1))
    for each in report["quantities"]:
        shown = [stage for stage in each["stages"] if stage["stage"] in ENDS]
        second = _second(each)
        for row, stage in enumerate(shown):
            cells = [
                _name(each) if row == 0 else second,
                ENDS[stage["stage"]],
                f"{stage['count'] + stage['zero_or_less']}",
                _bare(stage["quantiles"]["median"]),
                _range(stage["quantiles"]["p10"], stage["quantiles"]["p90"]),
                _share(stage["share_in_spec"]),
                _cpk(stage["capability"]),
            ]
            table.add_row(*(Text(cell) for cell in cells[: 6 if narrow else None]))
        if len(shown) == 1 and second:
            table.add_row(Text(second))
    return table


def _name(each: Raw) -> str:
    words = [each["quantity"].replace("-", " "), each["place"]]
    return f"{', '.join(word for word in words if word)} [{unit(_quantity(each['resolution']))}]"


def _second(each: Raw) -> str:
    """What stands below the name: where it was read, and today's spec there."""
    spec = None if each["spec"] is None else f"spec {_limits(each['spec'])}"
    parts = [part for part in (each["frets"], spec) if part]
    told = "; ".join(parts)
    return f"  {told}" if len(told) <= SECOND else ";\n".join(f"  {part}" for part in parts)


def _limits(spec: Raw) -> str:
    if spec["lower"] is None:
        return f"at most {_bare(spec['upper'])}"
    if spec["upper"] is None:
        return f"at least {_bare(spec['lower'])}"
    return _range(spec["lower"], spec["upper"])


def _doing(each: Raw) -> str:
    way = f", {_told(each['way_mean'])} each time" if each["way_mean"] is not None else ""
    return f"{each['name'].replace('-', ' ')}: in {each['jobs']} jobs ({_share(each['per_job'])}){way}"


def _follows(each: Raw) -> str:
    change, sure = each["per_percent"], each["uncertainty"]
    told = f"{change['value']:+.3g} ± {sure['value']:.2g} {unit(_quantity(change))}"
    place = ", ".join(word for word in (each["quantity"], each["place"], each["frets"]) if word)
    return f"{place}: {told} for each 1 % more, over {each['months']} months"


def _suggested(each: Raw) -> str:
    found = each["suggestion"]
    told = f"{_bare(found['target'])} ({_limits(found)}), from {found['readings']} final readings"
    place = f"{_name(each)}, {each['frets']}" if each["frets"] else _name(each)
    return f"{place}: {told}"


def _table(names: list[str], *, left: tuple[int, ...]) -> Table:
    table = Table(box=None, padding=(0, 2, 0, 0), show_edge=False, header_style="underline")
    for place, name in enumerate(names):
        table.add_column(name, justify="left" if place in left else "right", no_wrap=place not in left)
    return table


def _days(told: Raw) -> str:
    period = told["period"]
    return f"{period['first']} to {period['last']}"


def _quantity(raw: Raw | None) -> Quantity | None:
    return None if raw is None else Quantity(raw["value"], raw["unit"])


def _bare(raw: Raw | None) -> str:
    return number(_quantity(raw))


def _told(raw: Raw | None) -> str:
    if raw is None:
        return NONE
    if raw["unit"] in ("min", "day"):
        return f"{raw['value']:.0f} min" if raw["unit"] == "min" else f"{raw['value']:.1f} days"
    quantity = Quantity(raw["value"], raw["unit"])
    return turns(quantity) if raw["unit"] == "turn" else f"{number(quantity)} {unit(quantity)}"


def _range(low: Raw | None, high: Raw | None) -> str:
    return NONE if low is None or high is None else f"{_bare(low)} … {_bare(high)}"


def _share(share: float | None) -> str:
    return NONE if share is None else f"{100.0 * share:.0f} %"


def _money(amount: float | None) -> str:
    return NONE if amount is None else f"{amount:.2f}"


def _cpk(held: Raw | None) -> str:
    return NONE if held is None else f"{held['index']:z.2f} ({held['lower']:z.2f} … {held['upper']:z.2f})"
