"""Jobs, lists of jobs and cards as a technician reads them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, date, datetime
from typing import TYPE_CHECKING, Any

from rich.table import Table

from .._trade import SIGNED
from ._plan_layout import limits, number, spaced_unit, tomorrow_of
from ._tables import Text

if TYPE_CHECKING:
    from .. import Card, CardLook, CardQuantity, Instrument, InstrumentModel, Job, SpecItem, Technician
    from ._tables import Console

NARROW = 64


def local(instant: datetime | None, *, now: datetime | None = None) -> str:
    """Write an instant in this machine's own time: the hour today, else day and hour."""
    if instant is None:
        return "–"
    here = instant.astimezone()
    today = (now or datetime.now(UTC)).astimezone().date()
    return f"{here:%H:%M}" if here.date() == today else f"{here:%a} {here.day} {here:%b %H:%M}"


def state_of(job: Job) -> str:
    """Write a job's state with what it waits for."""
    words = job.state.replace("-", " ")
    if job.waiting_for:
        return f"{words} for {job.waiting_for}"
    if job.state == "settling":
        return f"{words}, due" if job.due else f"{words} until {local(job.available_at)}"
    return words


def print_job(
    console: Console, job: Job, *, instrument: Instrument | None, model: InstrumentModel | None,
    owner: str | None, spec: Iterable[SpecItem],
) -> None:  # fmt: skip
    """Print what a technician needs to begin."""
    console.print(Text(f"Job {job.number}: {state_of(job)}", style="bold"))
    rows: list[tuple[str, str]] = []
    if model is not None:
        rows.append(("instrument", instrument_line(instrument, model)))
    if owner:
        rows.append(("owner", owner))
    if job.claim is not None:
        stale = ", since before the shop opened: may be taken over" if job.claim.stale else ""
        rows.append(
            (
                "held by",
                f"{job.claim.technician or job.claim.technician_id} since {local(job.claim.since)}{stale}",
            )
        )
    for name, value in (
        ("promised", day(job.promised_on)),
        ("complaints", job.complaints),
        ("condition", job.condition),
        ("wants", wants_line(job.wants)),
        ("skills", ", ".join(job.skills)),
        ("worked", f"{job.worked_minutes} min" if job.worked_minutes else None),
    ):
        if value:
            rows.append((name, value))
    print_rows(console, rows)
    items = list(spec)
    if items:
        print_spec(console, items)


def instrument_line(instrument: Instrument | None, model: InstrumentModel) -> str:
    """Write model, kind, scale and rod in a line."""
    parts = [f"{model.maker} {model.name}".strip(), model.kind.replace("-", " ")]
    if instrument is not None and instrument.serial:
        parts.append(f"serial {instrument.serial}")
    if instrument is not None and instrument.handedness == "left":
        parts.append("left-handed")
    if model.scale_treble is not None:
        parts.append(f"scale {model.scale_treble}")
    if model.frets:
        parts.append(
            f"{model.frets} frets, body joint at {model.body_joint_fret:g}" if model.body_joint_fret else ""
        )
    rod, bridge = model.truss_rod.get("kind"), model.bridge.get("kind")
    parts += [
        f"{rod} rod".replace("-", " ") if rod and rod != "none" else "",
        bridge.replace("-", " "),
    ]
    return ", ".join(part for part in parts if part)


def wants_line(wants: Mapping[str, Any]) -> str:
    """Write what the player wants."""
    parts = []
    if wants.get("restring"):
        parts.append("new strings")
    parts += [str(wants[name]) for name in ("playing_style", "note") if wants.get(name)]
    return "; ".join(parts)


def day(value: date | None) -> str | None:
    """Write a day."""
    return None if value is None else f"{value:%a} {value.day} {value:%b %Y}"


def print_rows(console: Console, rows: Sequence[tuple[str, str]]) -> None:
    """Print names and values, the values wrapped beside their names."""
    grid = Table.grid(padding=(0, 2, 0, 0))
    grid.add_column(no_wrap=True)
    grid.add_column()
    for name, value in rows:
        grid.add_row(Text(name), Text(value))
    console.print(grid)


def print_spec(console: Console, items: Sequence[SpecItem]) -> None:
    """Print the spec that applies, with where each item comes from."""
    table = Table(box=None, padding=(0, 2, 0, 0), show_edge=False, header_style="underline")
    for name in ("spec", "target", "limits", "from"):
        table.add_column(name)
    for item in items:
        name = item.quantity.replace("-", " ")
        beside = [item.pickup and f"{item.pickup} pickup", item.side and f"{item.side} side"]
        beside.append(f"string {item.string}" if item.string is not None else None)
        unit = item.target.unit if item.target is not None else ""
        low, high = _bare(item.lower), _bare(item.upper)
        table.add_row(
            Text(", ".join([name, *(one for one in beside if one)])),
            Text(f"{_bare(item.target)} {unit}"),
            Text(
                f"{low} … {high}"
                if item.lower and item.upper
                else f"at least {low}"
                if item.lower
                else f"at most {high}"
            ),
            Text(item.from_.scope if item.from_ is not None else ""),
        )
    console.print(table)


def _bare(quantity: Any) -> str:
    return "–" if quantity is None else f"{round(quantity.value, 3):g}"


def print_jobs(
    console: Console,
    groups: Mapping[str, Sequence[Job]],
    technicians: Mapping[str, Technician],
    instruments: Mapping[str, str],
) -> None:
    """Print jobs by what happens to them, like the board on the wall."""
    narrow = console.width < NARROW
    for title, jobs in groups.items():
        console.print(Text(f"{title} ({len(jobs)})", style="bold"))
        table = Table(box=None, padding=(0, 2, 0, 2), show_edge=False, show_header=False)
        for _ in range(4 if narrow else 5):
            table.add_column()
        for job in jobs:
            instrument = instruments.get(job.instrument_id or "", "")
            cells = [f"{job.number}", instrument, job_detail(job, technicians), _promise(job)]
            if not narrow:
                cells.append((job.complaints or "").replace("\n", " ")[:60])
            table.add_row(*(Text(cell) for cell in cells))
        console.print(table)


def job_detail(job: Job, technicians: Mapping[str, Technician]) -> str:
    """Write who holds a job, or until when or for what it rests."""
    if job.claim is not None:
        known = technicians.get(job.claim.technician_id or "")
        name = job.claim.technician or (known.name if known else "somebody")
        return f"{name} since {local(job.claim.since)}" + (" (left over)" if job.claim.stale else "")
    if job.state in {"settling", "waiting"}:
        return state_of(job)
    return f"priority {job.priority}"


def _promise(job: Job) -> str:
    if job.promised_on is None:
        return ""
    late = job.promised_on < datetime.now(UTC).astimezone().date()
    return f"promised {job.promised_on:%Y-%m-%d}" + (", late" if late else "")


def print_card(console: Console, card: Card) -> None:
    """Print before and after of a job side by side."""
    job, instrument = card.job, card.instrument
    console.print(Text(f"Card of job {job.get('number', '')}", style="bold"))
    named = [str(instrument[part]) for part in ("maker", "model") if instrument.get(part)]
    if instrument.get("serial"):
        named.append(f"({instrument['serial']})")
    console.print(Text(" ".join([*named, *([f"of {job['owner']}"] if job.get("owner") else [])])))
    if card.summary:
        console.print(Text(card.summary))
    table = Table(box=None, padding=(0, 2, 0, 0), show_edge=False, header_style="underline")
    for column in ("", "before", "after", "spec", "verdict"):
        table.add_column(column)
    for one in card.quantities:
        cells = (
            one.name,
            look_line(one, one.before),
            look_line(one, one.after),
            _card_limits(one),
            _verdict(one),
        )
        table.add_row(*(Text(cell) for cell in cells))
    console.print(table)
    sections = (
        ("Done", card.done),
        ("Left as it is", card.left),
        ("Refused by the owner", card.refused),
        ("Look again", card.next_look),
        ("Take care", [str(one.get("text", "")) for one in card.cautions]),
    )
    for title, lines in sections:
        if lines:
            console.print(Text(title, style="bold"))
        for line in lines:
            print_rows(console, [("-", line)])
    if card.judgement:
        console.print(Text(card.judgement))


def look_line(one: CardQuantity, look: CardLook | None) -> str:
    """Write a reading as it stands on the card."""
    if look is None:
        return "–"
    if look.zero_or_less:
        return "zero or less"
    if look.value is None:
        return "not read"
    return number(look.value, signed=one.quantity in SIGNED) + spaced_unit(look.value)


def _card_limits(one: CardQuantity) -> str:
    return limits(one.lower, one.upper)


def _verdict(one: CardQuantity) -> str:
    before = one.before.verdict if one.before else None
    after = one.after.verdict if one.after else None
    if after is None:
        changed = one.after is not None and one.after.stale
        return ("changed since, not read again" if changed else "–") + (f" (was {before})" if before else "")
    accepted = ", accepted" if one.after is not None and one.after.accepted else ""
    told = tomorrow_of(one.after) if one.after is not None else ""
    return after + accepted + told + (f" (was {before})" if before and before != after else "")
