"""The command that takes readings: read."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import click

from ._bench import Bench, at_bench, on_job
from ._correcting import begin_correction, corrects, put_in_place
from ._exits import Exit, Stop
from ._files import BadFile, read_file
from ._lines import read_air, read_finding, take_line
from ._measures import NotUnderstood
from ._prompting import ask_readings, list_sheet
from ._sheet_sending import send_sheet, short, stage_of
from ._speaking import ask_yes, echo
from ._unsent import UnsentSheet, find_unsent

if TYPE_CHECKING:
    from .. import Job, ReadingSheet, ReadingWanted, Recommendation

_LATER = {"settle", "final-readings"}
STAGES = ("as-received", "in-progress", "final", "recheck")


@click.command("read")
@click.argument("entries", nargs=-1, metavar="[READING]...")
@click.option(
    "--file", "-f", "file", type=click.Path(allow_dash=True), help="JSON, CSV or lines; - = standard input."
)
@click.option("--stage", type=click.Choice(STAGES), help="Left out: what the job's state says.")
@click.option(
    "--at-pitch/--off-pitch", default=None, help="Every string within 5 cents of its pitch, or not."
)
@click.option("--on-back", is_flag=True, help="Lying on its back, not in playing position.")
@click.option("--cold", is_flag=True, help="Not yet as warm as the room: kept, but no verdict.")
@click.option("--air", metavar="'21C 45%'", help="The room's temperature and relative humidity.")
@click.option(
    "--tool", multiple=True, metavar="NAME", help="Measured with this, where it fits; once for each tool."
)
@click.option(
    "--found", multiple=True, metavar="FINDING", help="What the look over found, e.g. 'fret-high fret 7'."
)
@click.option(
    "--looked-over", is_flag=True, help="Frets, bridge, rod, nut and tuners were looked at, found or not."
)
@click.option("--note", help="A note for the whole sheet.")
@click.option(
    "--instead-of",
    metavar="SHEET",
    help="Corrects this sheet, or the last; what is not typed anew stays. Say why with --because.",
)
@click.option("--because", metavar="REASON", help="Why the other sheet was wrong.")
@click.option(
    "--resume", metavar="SHEET", help="Go on with a sheet that is not sent yet; its last characters do."
)
@click.option(
    "--drop",
    multiple=True,
    type=click.IntRange(1),
    metavar="NUMBER",
    help="With --resume or --instead-of: leave this reading out; shimstock unsent and sheets number them.",
)
@click.option("--ask", is_flag=True, help="Ask line by line even when standard input is no terminal.")
@on_job
@at_bench
def read(
    bench: Bench,
    *,
    entries: tuple[str, ...],
    file: str | None,
    resume: str | None,
    drop: tuple[int, ...],
    ask: bool,
    job: str | None,
    **conditions: Any,
) -> None:
    """Enter what your tools show.

    Without readings on the command line it asks for them one by one, those that the plan wants first. A sheet
    is sent whole or not at all; until it is taken it is kept here, and however often it is sent it is stored
    once.

    \b
    shimstock read
    shimstock read "relief 0.45" "action bass 8/64in" "intonation 3 +2.5" --at-pitch
    shimstock read --file sheet.csv --at-pitch
    shimstock read --instead-of last "relief 0.34" --because "mistyped"
    """
    kept = find_sheet(resume) if resume else None
    found, sheet = _job_and_sheet(bench, kept, job)
    wrong, because = conditions.pop("instead_of"), conditions.pop("because")
    _correct(bench, found, sheet, wrong, because)
    _drop(sheet, drop, begun=kept is not None or wrong is not None)
    sheet.stage = conditions.pop("stage") or sheet.stage or (stage_of(bench, found) if found else None)
    told = entries or conditions["found"] or conditions["looked_over"] or resume or wrong
    if file is None and not told and not bench.asks and not ask:
        file = "-"
    _take_options(bench, sheet, entries, file, conditions)
    if not (entries or file is not None) and (bench.asks or ask):
        _ask_and_send(bench, found, sheet)
        return
    if sheet.is_empty:
        raise Stop("nothing to send: the sheet has no reading and no finding", Exit.NOTHING)
    if sheet.at_pitch is None:
        sheet.touch()
        raise Stop(
            "say --at-pitch when every string was within 5 cents of its pitch, else --off-pitch; kept as "
            f"sheet {short(sheet)}: shimstock read --resume {short(sheet)} --at-pitch",
            Exit.USAGE,
        )
    _answer(bench, send_sheet(bench, sheet, fresh=kept is None))


def _job_and_sheet(
    bench: Bench, kept: UnsentSheet | None, named: str | None
) -> tuple[Job | None, UnsentSheet]:
    """Find the job and its sheet; out of reach, the job last seen here will do until the sheet is sent."""
    from .. import NotReachable

    tools = list(bench.sign_in.tools)
    try:
        found = bench.named_job(kept.job_id) if kept else bench.job(named)
    except NotReachable:
        last = bench.last_job(named)
        if kept is None and last is None:
            raise
        return None, kept or UnsentSheet(last.id, last.number, last.url, tools=tools)  # type: ignore[union-attr]
    return found, kept or UnsentSheet(found.id, found.number, bench.client.url, tools=tools)


def _correct(
    bench: Bench, job: Job | None, sheet: UnsentSheet, wrong: str | None, because: str | None
) -> None:
    if bool(wrong) != bool(because):
        raise Stop("--instead-of and --because go together: which sheet was wrong, and why", Exit.USAGE)
    if not (wrong and because):
        return
    if job is None:
        raise Stop("what was sent can be corrected only while the service can be reached", Exit.NOT_REACHABLE)
    begin_correction(bench, job, sheet, wrong, because)


def _drop(sheet: UnsentSheet, numbers: Sequence[int], *, begun: bool) -> None:
    if numbers and not begun:
        raise Stop(
            "--drop: say which kept sheet with --resume, or which sent one with --instead-of", Exit.USAGE
        )
    for number in sorted(set(numbers), reverse=True):
        if number > len(sheet.readings):
            raise Stop(f"--drop: the sheet has readings 1 to {len(sheet.readings)}", Exit.USAGE)
        del sheet.readings[number - 1]


def find_sheet(text: str) -> UnsentSheet:
    """Find the one kept sheet that is meant.

    Raises
    ------
    Stop
        When there is none, or more than one.
    """
    sheet = find_unsent(text)
    if sheet is None:
        raise Stop(f"no unsent sheet {text!r}, or more than one; shimstock unsent lists them", Exit.USAGE)
    return sheet


def _take_options(
    bench: Bench, sheet: UnsentSheet, entries: Sequence[str], file: str | None, conditions: dict[str, Any]
) -> None:
    try:
        if conditions["at_pitch"] is not None:
            sheet.at_pitch = conditions["at_pitch"]
        if conditions["on_back"]:
            sheet.more["position"] = "on-back"
        if conditions["cold"]:
            sheet.more["acclimatised"] = False
        if conditions["air"]:
            sheet.more["room"] = read_air(conditions["air"])
        if conditions["looked_over"]:
            sheet.more["looked_over"] = True
        if conditions["note"]:
            sheet.more["note"] = conditions["note"]
        if conditions["tool"]:
            # those named on the command line go before the sign-in's, and in place of an earlier mistake
            sheet.tools = [*bench.sign_in.tools, *conditions["tool"]]
        sheet.findings += [read_finding(text) for text in conditions["found"]]
    except NotUnderstood as error:
        raise Stop(str(error), Exit.USAGE) from error
    _take_entries(bench, sheet, entries)
    if file is not None:
        _take_file(bench, sheet, file)


def _take_entries(bench: Bench, sheet: UnsentSheet, entries: Sequence[str]) -> None:
    problems = []
    for number, text in enumerate(entries, 1):
        try:
            count = len(sheet.readings)
            take_line(sheet, text, bench.units)
            if corrects(sheet) and len(sheet.readings) > count:
                put_in_place(sheet)
        except NotUnderstood as error:
            problems.append(f"reading {number}, {text!r}: {error}")
    if problems:
        raise Stop("\n".join([*problems, "nothing was sent"]), Exit.USAGE)


def _take_file(bench: Bench, sheet: UnsentSheet, file: str) -> None:
    name = "standard input" if file == "-" else file
    try:
        with click.open_file(file, encoding="utf-8") as opened:
            content = read_file(opened.read(), bench.units, name=name)
    except OSError as error:
        raise Stop(f"--file: {error.strerror}: {file}", Exit.USAGE) from error
    except UnicodeDecodeError as error:
        raise Stop(f"--file: {name} is no UTF-8 text", Exit.USAGE) from error
    except BadFile as error:
        raise Stop(f"{name}: nothing was sent\n{error}", Exit.USAGE) from error
    sheet.readings += content.readings
    more = dict(content.more)
    sheet.id = str(more.pop("id", sheet.id))
    sheet.stage = more.pop("stage", sheet.stage)
    if sheet.at_pitch is None:
        sheet.at_pitch = more.pop("at_pitch", None)
    more.pop("at_pitch", None)
    sheet.findings += more.pop("findings", [])
    sheet.more |= more


# ---------------------------------------------------------------- asking


def _ask_and_send(bench: Bench, job: Job | None, sheet: UnsentSheet) -> None:
    asked = asked_by_plan(bench, job) if job else ()
    if job is None:
        echo("The service cannot be reached: the sheet is kept, and shimstock send sends it later.")
    stage = f", {sheet.stage.replace('-', ' ')}" if sheet.stage else ""
    echo(f"Sheet {short(sheet)} for job {sheet.job_number}{stage}.")
    if sheet.at_pitch is None:
        sheet.at_pitch = ask_yes("Is every string within 5 cents of its pitch?")
    if sheet.readings:
        list_sheet(sheet)
    while True:
        try:
            ending = ask_readings(sheet, asked, bench.units)
        except (click.Abort, KeyboardInterrupt, EOFError):
            _say_kept(sheet)
            raise click.Abort from None
        if ending == "throw away":
            sheet.remove()
            raise Stop("thrown away", Exit.OK)
        if ending == "keep":
            sheet.keep()
            _say_kept(sheet)
            return
        try:
            sent = send_sheet(bench, sheet)
        except Stop as stop:
            if stop.code is not Exit.REFUSED:
                raise
            echo(stop.message)
            echo("Nothing was stored. Drop what is wrong (drop NUMBER), type it again, and send.")
            asked = []
            continue
        _answer(bench, sent)
        return


def asked_by_plan(bench: Bench, job: Job) -> Sequence[ReadingWanted]:
    """Return what the plan asks for now; nothing when there is none."""
    from .. import ShimstockError

    try:
        plan = bench.client.recommendations.of_job(job)
    except ShimstockError as error:
        echo(f"no plan yet: {error.detail}")
        return ()
    whole = job.state == "final-check" and bench.shop is not None and bench.shop.everything_at_the_end
    return everything(plan) if whole else readings_to_ask(plan, final=job.state == "final-check")


def readings_to_ask(plan: Recommendation, *, final: bool) -> Sequence[ReadingWanted]:
    """Return what to ask for: what the final check still reads, else what comes before the next change."""
    from itertools import takewhile

    if final:
        asked = [
            wanted
            for step in plan.steps
            if not step.changes_instrument and step.kind != "settle"
            for wanted in step.readings_next
        ]
        return list({(one.quantity, one.side, one.string, one.pickup): one for one in asked}.values())
    if plan.steps and plan.steps[0].kind == "settle":
        return plan.steps[0].readings_next
    before = takewhile(lambda step: not step.changes_instrument and step.kind not in _LATER, plan.steps)
    return [wanted for step in before for wanted in step.readings_next]


def everything(plan: Recommendation) -> Sequence[ReadingWanted]:
    """Return one reading for every item of the spec."""
    from .. import ReadingWanted

    return [
        ReadingWanted(
            quantity=each.quantity,
            side=each.side,
            string=each.string,
            pickup=each.pickup,
            fret=each.fret,
            held=each.held,
        )
        for each in plan.verdicts
    ]


def _say_kept(sheet: UnsentSheet) -> None:
    if not sheet.is_empty:
        echo(f"\nkept as sheet {short(sheet)}; go on with: shimstock read --resume {short(sheet)}", err=True)


def _answer(bench: Bench, sent: ReadingSheet) -> None:
    def say() -> None:
        count = len(sent.readings)
        many = f"{count} reading{'' if count == 1 else 's'}" if count else "what was looked at"
        echo(f"Taken: {many}, {sent.stage.replace('-', ' ')}.")
        if sent.outside_claim:
            echo("The job is not on your bench; the sheet is kept and marked so.")
        for line in _learned(sent):
            echo(line)
        for line in (*_surprises(sent), *(one.text for one in sent.drifts)):
            echo(line)
        echo("shimstock plan shows what to do next.")

    bench.show(sent.raw, say)


def _surprises(sent: ReadingSheet) -> list[str]:
    """Say which readings do not fit, while the tool is still at hand."""
    from ._plan_layout import surprise_line

    lines = [surprise_line(one) for one in sent.surprises]
    if any(one.open for one in sent.surprises):
        lines.append("Read it again before any step; if it shows the same, type it with sure behind it.")
    return lines


def _learned(sent: ReadingSheet) -> list[str]:
    """Say how well this bench repeats, where a study found it."""
    found = {
        (one.quantity, one.repeatability_source): one.repeatability
        for one in sent.readings
        if one.repeatability_source and one.repeatability is not None
    }
    return [
        f"± of {quantity.replace('-', ' ')} {value}: how well this bench repeats, by {source}."
        for (quantity, source), value in found.items()
    ]
