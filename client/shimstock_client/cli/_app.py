"""The command `shimstock`: its groups of commands, and how every one of them ends."""

from __future__ import annotations

import io
import logging
import sys
import traceback
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import click

from .._version import VERSION
from . import (
    _airing,
    _beginning,
    _booked,
    _checking,
    _correcting,
    _doing,
    _forecasting,
    _learned,
    _moving,
    _planning,
    _pricing,
    _queue,
    _reading,
    _receiving,
    _reporting,
    _sending,
    _signing,
    _studying,
    _taking_back,
    _transferring,
)
from ._bench import Bench
from ._exits import MEANING, Exit, Stop
from ._speaking import echo, echo_json, speak_plainly

SECTIONS: dict[str, tuple[click.Command, ...]] = {
    "Who works here": (_signing.sign_in, _signing.who, _signing.tools, _signing.sign_out),
    "Jobs": (
        _booked.expected, _receiving.receive, _queue.take, _queue.jobs, _queue.job, _queue.due,
        _queue.give_back, _queue.hand_over, _moving.move,
    ),
    "At the bench": (
        _reading.read, _correcting.sheets, _planning.plan, _doing.done, _taking_back.not_done,
        _planning.consent, _sending.unsent, _sending.send,
    ),
    "When the step is done": (
        _moving.settle, _moving.wait, _moving.final_check, _moving.rework, _moving.ready, _moving.card,
    ),
    "Do the benches agree": (
        _checking.check, _checking.check_piece, _studying.study, _beginning.study_new, _checking.benches,
    ),
    "What adjustments have taught": (_learned.learned, _learned.doubts, _learned.doubt),
    "What the shop knows": (
        _reporting.report, _pricing.prices, _transferring.export, _transferring.import_readings,
    ),
    "Air and seasons": (
        _forecasting.forecast, _airing.reminders, _airing.reminder, _forecasting.keeping, _airing.room,
        _airing.room_log, _airing.salt_check, _forecasting.climates, _forecasting.calendars,
    ),
}  # fmt: skip


class Sections(click.Group):
    """A group that lists its commands in the order of the work."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002
        """Return the names in the order of the sections."""
        return [str(command.name) for commands in SECTIONS.values() for command in commands]

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002
        """Write the commands, section by section."""
        for title, commands in SECTIONS.items():
            with formatter.section(title):
                formatter.write_dl(
                    [(str(command.name), command.get_short_help_str(200)) for command in commands]
                )

    def format_epilog(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002
        """Write what the exit codes mean."""
        with formatter.section("Exit codes"):
            formatter.write_dl([(str(int(code)), meaning) for code, meaning in MEANING.items()])


@click.group(cls=Sections, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(VERSION, prog_name="shimstock")
@click.option(
    "--timeout",
    type=click.FloatRange(0.1, 600),
    metavar="SECONDS",
    help="How long to wait for an answer.",
)
@click.pass_obj
def app(bench: Bench, timeout: float | None) -> None:
    """Work at a bench: take a job, enter readings, see the plan, record what was done.

    A usual round: take, read, plan, done, read, … , settle; later take it again, final-check, read, ready.
    Every command answers --help with examples, and takes --json.
    """
    bench.timeout = timeout


for _commands in SECTIONS.values():
    for _command in _commands:
        app.add_command(_command)


def run(arguments: Sequence[str] | None = None, *, transport: Any = None) -> int:
    """Run one command and return its exit code.

    Parameters
    ----------
    arguments : sequence of str or None
        Without the program's name; None = the process's own [-].
    transport : requests adapter or None
        Instead of the network, for tests [-].

    Returns
    -------
    int
        See `Exit` [-].
    """
    bench = Bench(transport)
    speak_plainly()
    logging.getLogger("urllib3").setLevel(logging.ERROR)  # its retries are no news to a technician
    try:
        app.main(
            args=None if arguments is None else list(arguments),
            prog_name="shimstock",
            obj=bench,
            standalone_mode=False,
        )
    except click.exceptions.Exit as error:
        return error.exit_code
    except click.exceptions.NoArgsIsHelpError as error:
        echo(error.format_message())
        return int(Exit.USAGE)
    except click.ClickException as error:
        echo(_with_usage(error), err=True)
        return _end_as_json(bench, arguments, error.format_message(), Exit(error.exit_code))
    except (click.Abort, KeyboardInterrupt):
        echo("\ninterrupted", err=True)
        return _end_as_json(bench, arguments, "interrupted", Exit.INTERRUPTED)
    except Stop as stop:
        problem = {"code": stop.code.name.lower(), "detail": stop.message}
        return _end(bench, stop.message, stop.code, problem, stop.answer)
    except Exception as error:
        from .. import ShimstockError

        if isinstance(error, ShimstockError):
            return _end(bench, _in_words(error), exit_of(error), _as_problem(error))
        message = _unforeseen(error)
        return _end(bench, message, Exit.REFUSED, {"code": "unforeseen", "detail": message})
    return int(Exit.OK)


def _with_usage(error: click.ClickException) -> str:
    """Return what click would print of a command line that was not understood."""
    shown = io.StringIO()
    error.show(shown)
    return shown.getvalue().rstrip("\n")


def _unforeseen(error: Exception) -> str:
    """Write what no command reckoned with: a damaged file, an answer of another shape, or a fault in here."""
    place = traceback.extract_tb(error.__traceback__)[-1]
    return (
        "shimstock cannot go on: what the service answered or a file holds is not as it should be, "
        "or this program has a fault "
        f"({type(error).__name__}: {error}; {Path(place.filename).name}, line {place.lineno})."
    )


def _end_as_json(bench: Bench, arguments: Sequence[str] | None, message: str, code: Exit) -> int:
    """End what was told on standard error; a command line that was not understood may still ask for JSON."""
    typed = sys.argv[1:] if arguments is None else arguments
    if bench.as_json or "--json" in typed:
        echo_json({"error": {"code": code.name.lower(), "detail": message}, "exit": int(code)})
    return int(code)


def exit_of(error: Exception) -> Exit:
    """Return the exit code of what the client raised."""
    from .. import Changed, Conflict, NotReachable, NotSignedIn, Refused

    if isinstance(error, NotReachable):
        return Exit.NOT_REACHABLE
    if isinstance(error, NotSignedIn) or (isinstance(error, Refused) and error.code == "technician-required"):
        return Exit.SIGN_IN
    if isinstance(error, Conflict | Changed):
        return Exit.CONFLICT
    return Exit.REFUSED


def _in_words(error: Any) -> str:
    """Write an error, with who holds the job when that is what stands against it."""
    from .. import InvalidFields

    if isinstance(error, InvalidFields) and error.errors:
        return _fields_in_words(error)
    claim = getattr(error, "extra", {}).get("claim")
    if not isinstance(claim, dict):
        return str(error)
    from datetime import datetime

    from ._layout import local

    since = local(datetime.fromisoformat(claim["since"])) if claim.get("since") else "some time"
    line = f"{claim.get('technician') or 'Somebody'} holds it since {since}."
    if claim.get("stale"):
        line += " It was left over: take it over with --take-over --reason."
    return f"{line}\n{error}"


def _fields_in_words(error: Any) -> str:
    """Write which fields were wrong, without the words meant for whoever writes a program."""
    lines = [f"{one.pointer.strip('/').replace('_', ' ')}: {one.message}" for one in error.errors]
    if any("confirm it" in line for line in lines):
        lines.append("(--sure confirms it)")
    lines.append(f"({error.code}, request {error.request_id})" if error.request_id else f"({error.code})")
    return "\n".join(lines)


def _end(
    bench: Bench, message: str, code: Exit, problem: dict[str, Any], answer: dict[str, Any] | None = None
) -> int:
    echo(message, err=True)
    if bench.as_json:
        echo_json({"error": problem, "exit": int(code)} if answer is None else answer)
    return int(code)


def _as_problem(error: Any) -> dict[str, Any]:
    return {
        "code": error.code,
        "detail": error.detail,
        "status": error.status,
        "request_id": error.request_id,
        "errors": [{"pointer": one.pointer, "message": one.message} for one in error.errors],
    }
