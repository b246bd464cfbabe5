"""The command about what the shop knows of its models, and what its forecasts are worth: report."""

from __future__ import annotations

from collections.abc import Callable
from time import sleep
from typing import TYPE_CHECKING, Any

import click

from ._bench import Bench, at_bench
from ._exits import Exit, Stop
from ._places import write_output
from ._speaking import echo, progress

if TYPE_CHECKING:
    from .. import InstrumentModel, ReportRun, ReportTable

TABLES: tuple[ReportTable, ...] = ("quantities", "bins", "steps", "findings", "season", "jobs")
OF_FORECASTS = ("coverage", "scatter", "forecasts")
PATIENCE = 20.0
"""Seconds in which a worker should have begun a long report."""
EVERY = 0.5
LONG = 120.0
"""How long reports and their files are waited for, unless --timeout says otherwise [s]."""


@click.command("report")
@click.argument("model", required=False)
@click.option("--from", "first", metavar="DAY", help="The first day, such as 2026-01-31; else a year ago.")
@click.option("--to", "last", metavar="DAY", help="The last day; else today.")
@click.option("--maker", help="Only models of this maker.")
@click.option("--kind", help="Only models of this kind, such as electric or bass.")
@click.option(
    "--all", "everything", is_flag=True, help="All models in full: a long report, made by the worker."
)
@click.option(
    "--calibration",
    is_flag=True,
    help="Whether readings fell where they were expected, and how tools scatter.",
)
@click.option("--run", "run_id", metavar="ID", help="A long report that was begun before.")
@click.option("--page", metavar="FILE", help="Write it as a page with pictures (HTML).")
@click.option("--pdf", metavar="FILE", help="Write it on paper (PDF); one model only.")
@click.option("--csv", metavar="FILE", help="Write a table (CSV), or all of them when FILE ends in .zip.")
@click.option(
    "--table",
    type=click.Choice((*TABLES, *OF_FORECASTS)),
    help="Which table --csv writes; quantities when left out, with --calibration coverage.",
)
@at_bench
def report(bench: Bench, model: str | None, **how: Any) -> None:
    """Show what models cost, and how MODEL comes in, what is done on it and how it goes out.

    Without MODEL: the models by what a job on them costs, the dearest first.

    \b
    shimstock report
    shimstock report herrow
    shimstock report herrow --from 2026-01-01 --page herrow.html
    shimstock report --all --maker Brackwater --csv brackwater.zip
    shimstock report --calibration --page forecasts.html
    """
    _check(model, how)
    if bench.timeout is None:
        bench.timeout = LONG  # hundreds of pictures are drawn for a page
    period = {"first": how["first"], "last": how["last"]}
    if how["calibration"]:
        _calibration(bench, how, period)
    elif how["run_id"] is not None or how["everything"]:
        _long(bench, how, period)
    elif model is not None:
        _one(bench, _the_model(bench, model, how), how, period)
    else:
        _ranking(bench, how, period)


def _check(model: str | None, how: dict[str, Any]) -> None:
    """Refuse what cannot go together."""
    long = how["everything"] or how["run_id"] is not None
    if how["calibration"] and (long or model or how["pdf"] or how["maker"] or how["kind"]):
        raise Stop(
            "--calibration is about all readings: it goes with --from, --to, --page and --csv", Exit.USAGE
        )
    if how["table"] is not None and (how["table"] in OF_FORECASTS) != how["calibration"]:
        told = ", ".join(OF_FORECASTS if how["calibration"] else TABLES)
        raise Stop(f"--table: this report has {told}", Exit.USAGE)
    if long and model is not None:
        raise Stop("MODEL and --all: one model, or all of them", Exit.USAGE)
    if how["everything"] and how["run_id"] is not None:
        raise Stop("--all begins a long report, --run shows one: not both", Exit.USAGE)
    if how["pdf"] is not None and model is None:
        raise Stop("--pdf: name a model; for many models write a --page and print it", Exit.USAGE)
    if how["table"] is not None and (how["csv"] is None or how["csv"].endswith(".zip")):
        raise Stop("--table: needs --csv with a file for one table, not a .zip", Exit.USAGE)
    if not (long or model or how["calibration"]) and (
        how["table"] is not None or (how["csv"] or "").endswith(".zip")
    ):
        raise Stop("the ranking is one table; name a model, or --all, for others", Exit.USAGE)


def _the_model(bench: Bench, named: str, how: dict[str, Any]) -> InstrumentModel:
    """Find a model by its name, with or without its maker's, or by how either begins."""
    known = list(bench.client.instrument_models.list(maker=how["maker"], kind=how["kind"]))
    wanted = named.strip().casefold()
    names = {one.id: (one.name.casefold(), f"{one.maker} {one.name}".casefold()) for one in known}
    found = (
        [one for one in known if one.id == named]
        or [one for one in known if wanted in names[one.id]]
        or [one for one in known if any(name.startswith(wanted) for name in names[one.id])]
    )
    if len(found) != 1:
        told = ", ".join(f"{one.maker} {one.name}" for one in (found or known)[:12]) or "none yet"
        raise Stop(f"{named!r} names {'several models' if found else 'no model'}: {told}", Exit.USAGE)
    return found[0]


def _one(bench: Bench, model: InstrumentModel, how: dict[str, Any], period: dict[str, Any]) -> None:
    reports = bench.client.reports
    found = reports.of_model(model, **period)
    files: dict[str, Callable[[], str | bytes]] = {
        "page": lambda: reports.page_of_model(model, **period),
        "pdf": lambda: reports.paper_of_model(model, **period),
        "csv": lambda: (
            reports.tables_of_model(model, **period)
            if how["csv"].endswith(".zip")
            else reports.table_of_model(model, how["table"] or TABLES[0], **period)
        ),
    }
    written = _write(how, files)

    def say() -> None:
        from ._report_layout import print_report

        if not written:
            print_report(bench.console, found.raw)
        _tell(written)

    bench.show(found.raw, say)


def _ranking(bench: Bench, how: dict[str, Any], period: dict[str, Any]) -> None:
    reports = bench.client.reports
    asked = period | {"maker": how["maker"], "kind": how["kind"]}
    found = reports.ranking(limit=500, **asked)
    written = _write(
        how,
        {
            "page": lambda: reports.ranking_page(limit=500, **asked),
            "csv": lambda: reports.ranking_table(limit=500, **asked),
        },
    )
    if not found.items and not written:
        raise Stop("no job was done in these days", Exit.NOTHING, found.raw)

    def say() -> None:
        from ._report_layout import print_ranking

        if not written:
            print_ranking(bench.console, found.raw)
        _tell(written)

    bench.show(found.raw, say)


def _calibration(bench: Bench, how: dict[str, Any], period: dict[str, Any]) -> None:
    reports = bench.client.reports
    found = reports.calibration(**period)
    written = _write(
        how,
        {
            "page": lambda: reports.calibration_page(**period),
            "csv": lambda: (
                reports.calibration_tables(**period)
                if how["csv"].endswith(".zip")
                else reports.calibration_table(how["table"] or OF_FORECASTS[0], **period)
            ),
        },
    )
    if not found.groups and not written:
        raise Stop(
            "no reading of these days had a forecast: the first of a quantity has none",
            Exit.NOTHING,
            found.raw,
        )

    def say() -> None:
        from ._report_layout import print_calibration

        if not written:
            print_calibration(bench.console, found.raw)
        _tell(written)

    bench.show(found.raw, say)


def _long(bench: Bench, how: dict[str, Any], period: dict[str, Any]) -> None:
    reports = bench.client.reports
    if how["run_id"] is not None:
        run = reports.run(how["run_id"])
    else:
        wish = period | {"maker": how["maker"], "kind": how["kind"]}
        run = reports.begin(**{name: value for name, value in wish.items() if value is not None})
    run = _wait(bench, run)
    files: dict[str, Callable[[], str | bytes]] = {
        "page": lambda: reports.page_of(run),
        "csv": lambda: (
            reports.tables_of(run)
            if how["csv"].endswith(".zip")
            else reports.table_of(run, how["table"] or TABLES[0])
        ),
    }
    written = _write(how, files)
    if bench.as_json:
        models = [one.raw for one in reports.models_of(run)]
        bench.show({"run": run.raw, "items": models}, lambda: None)
        return
    if not written:
        from ._report_layout import print_summary

        print_summary(bench.console, (one.raw for one in reports.models_of(run)))
    _tell(written)


def _wait(bench: Bench, run: ReportRun) -> ReportRun:
    """Show how far a long report is until it is done; leaving it does not end it."""
    waited = 0.0
    goes_on = f"it goes on without you: shimstock report --run {run.id}"
    with progress("models") as bar:
        try:
            for now in bench.client.reports.watch(run, every=EVERY, sleep=sleep):
                run = now
                if now.total:
                    bar.length = now.total
                    bar.update(now.done - bar.pos)
                waited += EVERY
                if now.state == "waiting" and waited > PATIENCE:
                    raise Stop(f"no worker has begun it yet; {goes_on}", Exit.NOTHING, now.raw)
        except KeyboardInterrupt:
            bench.tell(f"\n{goes_on}")
            raise
    if run.state != "done":
        raise Stop(run.error or f"the report is {run.state}", Exit.REFUSED, run.raw)
    return run


def _write(how: dict[str, Any], files: dict[str, Callable[[], str | bytes]]) -> list[str]:
    """Write what was asked for, and return the files' names."""
    written = []
    for option, make in files.items():
        path = how[option]
        if path is None:
            continue
        write_output(f"--{option}", path, make())
        written.append(path)
    return written


def _tell(written: list[str]) -> None:
    for path in written:
        echo(f"written to {path}")
