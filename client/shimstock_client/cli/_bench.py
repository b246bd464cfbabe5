"""What every command works with: the sign-in, the client, the job in hand, and the way to speak."""

from __future__ import annotations

import functools
import sys
import warnings
from collections.abc import Callable, Iterator
from functools import cached_property
from typing import TYPE_CHECKING, Any, TypeVar
from uuid import UUID

import click

from . import _sign_in
from ._exits import Exit, Stop
from ._last_job import LastJob, recall, remember
from ._last_job import forget as forget_job
from ._measures import Units
from ._speaking import echo, echo_json

if TYPE_CHECKING:
    from .. import Client, Instrument, Job, JobState, Shop, Technician
    from ._tables import Console

F = TypeVar("F", bound=Callable[..., Any])
HELD: tuple[JobState, ...] = ("on-bench", "final-check")
"""States in which a job is held by a technician."""
ENDED = {"collected", "returned-unrepaired", "cancelled"}
"""States in which the instrument is no longer here."""


class Bench:
    """The bench that a command is run at.

    Parameters
    ----------
    transport : requests adapter or None
        Instead of the network, for tests [-].
    """

    def __init__(self, transport: Any = None) -> None:
        self.as_json = False
        self.timeout: float | None = None
        self._transport = transport

    @property
    def asks(self) -> bool:
        """Somebody sits at the keyboard, and wants words."""
        return sys.stdin.isatty() and not self.as_json

    @cached_property
    def sign_in(self) -> _sign_in.SignIn:
        """Who works here, and where the service is."""
        caution = _sign_in.exposed()
        if caution:
            self.tell(f"caution: {caution}")
        return _sign_in.load()

    @cached_property
    def client(self) -> Client:
        """The client under this sign-in."""
        return self.make_client(self.sign_in)

    def make_client(self, sign_in: _sign_in.SignIn) -> Client:
        """Make a client of a sign-in."""
        from .. import TIMEOUT, Client, PlainHttpWarning

        timeout = TIMEOUT if self.timeout is None else self.timeout
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore", PlainHttpWarning)  # sign-in warns in its own words
                return Client(
                    sign_in.url,
                    sign_in.key,
                    sign_in.technician,
                    sign_in.units,
                    timeout,
                    transport=self._transport,
                )
        except ValueError as error:
            raise Stop(str(error), Exit.SIGN_IN) from error

    @cached_property
    def units(self) -> Units:
        """Units of bare numbers: as signed in, else the shop's."""
        from .. import NotReachable

        if self.sign_in.units is not None:
            return self.sign_in.units
        try:
            shop = self.shop
        except NotReachable:
            last = self.last_job()
            if last is None:
                raise
            return "inch" if last.units == "inch" else "mm"
        return "inch" if shop is not None and shop.units == "inch" else "mm"

    @cached_property
    def shop(self) -> Shop | None:
        """The shop's settings; None before they are set up."""
        from .. import NotFound

        try:
            return self.client.shop.get()
        except NotFound:
            return None

    @cached_property
    def technicians(self) -> dict[str, Technician]:
        """Everybody who works here, by id."""
        return {one.id: one for one in self.client.technicians.list()}

    @property
    def me(self) -> str:
        """Id of the technician who is signed in.

        Raises
        ------
        Stop
            When the sign-in names nobody.
        """
        if not self.sign_in.technician:
            raise Stop(
                "the sign-in names no technician: shimstock sign-in asks for one "
                "(or set SHIMSTOCK_TECHNICIAN)",
                Exit.SIGN_IN,
            )
        return self.sign_in.technician

    # ------------------------------------------------------------ the job in hand

    def job(self, named: str | None = None) -> Job:
        """Return the named job, else the one that is held here.

        Raises
        ------
        Stop
            When there is no such job, none is held, or more than one.
        """
        return self.named_job(named) if named else self.held_job()

    def named_job(self, named: str) -> Job:
        """Return a job by the number on its ticket, by its id, or by its instrument's serial number."""
        number = named.removeprefix("#")
        if _is_id(named):
            return self.client.jobs.get(named)
        if not number.isdecimal():
            return self._job_of_instrument(named)
        found = self.client.jobs.by_number(int(number))
        if found is None:
            raise Stop(f"there is no job {number}", Exit.REFUSED)
        return found

    def instrument(self, named: str) -> Instrument:
        """Return an instrument by its serial number, by its id, or by the number of one of its jobs.

        Raises
        ------
        Stop
            When there is no such instrument, or more than one.
        """
        if _is_id(named):
            return self.client.instruments.get(named)
        found = list(self.client.instruments.list(serial=named))
        if len(found) > 1:
            raise Stop(
                f"{len(found)} instruments of different models have the serial number {named!r}", Exit.USAGE
            )
        if found:
            return found[0]
        number = named.removeprefix("#")
        job = self.client.jobs.by_number(int(number)) if number.isdecimal() else None
        if job is None or job.instrument_id is None:
            raise Stop(
                f"no instrument has the serial number {named!r}, and no job has this number", Exit.REFUSED
            )
        return self.client.instruments.get(job.instrument_id)

    def _job_of_instrument(self, serial: str) -> Job:
        """Return the one open job of an instrument."""
        found = [
            job
            for instrument in self.client.instruments.list(serial=serial)
            for job in self.client.jobs.list(instrument_id=instrument.id)
            if job.state not in ENDED
        ]
        if not found:
            raise Stop(
                f"{serial!r} is no job's number, and no instrument with this serial number has an open job",
                Exit.REFUSED,
            )
        if len(found) > 1:
            numbers = ", ".join(str(job.number) for job in found)
            raise Stop(f"{serial} has more than one open job: {numbers}; say which", Exit.USAGE)
        return found[0]

    def held_job(self) -> Job:
        """Return the one job that the technician holds."""
        held = list(self.held_jobs())
        if not held:
            forget_job()
            raise Stop("no job is on your bench; shimstock take takes the next one", Exit.NOTHING)
        if len(held) > 1:
            numbers = ", ".join(str(job.number) for job in held)
            raise Stop(f"you hold jobs {numbers}; say which with --job NUMBER", Exit.USAGE)
        self.remember_job(held[0])
        return held[0]

    def remember_job(self, job: Job) -> None:
        """Keep which job is on this bench, for the time when the service cannot be reached."""
        claim = job.claim.id if job.claim is not None else None
        remember(LastJob(self.sign_in.url, self.me, job.id, job.number, self.units, claim))

    def last_job(self, named: str | None = None) -> LastJob | None:
        """Return the job last seen on this bench, when it is the one that is meant."""
        last = recall()
        if last is None or (last.url, last.technician) != (self.sign_in.url, self.sign_in.technician):
            return None
        return last if named is None or named.removeprefix("#") in {str(last.number), last.id} else None

    def held_jobs(self) -> Iterator[Job]:
        """Walk the jobs that the technician holds."""
        for state in HELD:
            for job in self.client.jobs.list(state=state):
                if job.claim is not None and job.claim.technician_id == self.me:
                    yield job

    # ------------------------------------------------------------ speaking

    @cached_property
    def console(self) -> Console:
        """Where people read; without colour when NO_COLOR is set or nobody looks."""
        from ._tables import Console

        return Console()

    def show(self, data: Any, say: Callable[[], None]) -> None:
        """Answer: `data` as JSON for a machine, or in words by `say`."""
        if self.as_json:
            echo_json(data)
        else:
            say()

    def tell(self, message: str) -> None:
        """Say something beside the answer, on standard error."""
        echo(message, err=True)


def _is_id(text: str) -> bool:
    try:
        UUID(text)
    except ValueError:
        return False
    return True


def at_bench(command: F) -> F:
    """Give a command the bench as its first argument, and --json."""

    def set_json(context: click.Context, _parameter: click.Parameter, value: bool) -> None:
        if value:
            context.find_object(Bench).as_json = True  # type: ignore[union-attr]

    option = click.option(
        "--json",
        is_flag=True,
        expose_value=False,
        is_eager=True,
        callback=set_json,
        help="Answer as JSON on standard output; messages go to standard error.",
    )
    return option(click.pass_obj(command))  # type: ignore[return-value]


def on_job(command: F) -> F:
    """Add --job, the job that a command is about."""
    return click.option(
        "--job",
        "-j",
        "job",
        metavar="NUMBER",
        help="Another job than the one on your bench, by its number or its serial.",
    )(command)


def on_job_or_number(command: F) -> F:
    """Add the job that a command is about, as a bare NUMBER or as --job like everywhere else."""

    @functools.wraps(command)
    def told(*args: Any, number: str | None, job: str | None, **more: Any) -> Any:
        if number and job and number.removeprefix("#") != job.removeprefix("#"):
            raise Stop(f"{number} or --job {job}: which job?", Exit.USAGE)
        return command(*args, number=number or job, **more)

    return click.argument("number", required=False)(on_job(told))  # type: ignore[return-value]
