"""The worker: does what no request waits for. Several may run; one that is killed leaves nothing undone."""

from __future__ import annotations

import logging
import random
import signal
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass

from .app import check_database
from .booking import let_holds_go
from .clock import Clock, SystemClock
from .config import Config
from .database.session import Database
from .learning import work_off_marks as count_what_changed
from .operations.retention import forget_kept_answers
from .reports import make_long_reports
from .seasons import every_night, learn_anew, tell_due, work_off_marks
from .web.problems import Problem
from .webhooks import forget_delivered, tell

_log = logging.getLogger(__name__)

Work = Callable[[Database, Config, Clock], int]


@dataclass(frozen=True)
class Task:
    """A piece of work that comes back.

    Attributes
    ----------
    name : str
        What it does, for the logs.
    every : float
        Pause between two rounds [s].
    work : callable
        Does one round, in one transaction or several, and returns how much there was to do.
    """

    name: str
    every: float
    work: Work


TASKS: tuple[Task, ...] = (
    Task("tell endpoints", 1.0, tell),
    Task("let holds go", 60.0, let_holds_go),
    Task("forecast what changed", 5.0, work_off_marks),
    Task("count what changed", 5.0, count_what_changed),
    Task("make long reports", 2.0, make_long_reports),
    Task("tell what is due", 30.0, tell_due),
    Task("learn from new readings", 3600.0, learn_anew),
    Task("forecast every night", 600.0, every_night),
    Task("forget kept answers", 3600.0, forget_kept_answers),
    Task("forget delivered webhooks", 3600.0, forget_delivered),
)


class Worker:
    """Runs the tasks in turn until it is asked to stop."""

    def __init__(
        self, database: Database, config: Config, clock: Clock | None = None, tasks: tuple[Task, ...] = TASKS
    ) -> None:
        self._database = database
        self._config = config
        self._clock = clock or SystemClock()
        self._tasks = tasks
        self._stop = threading.Event()

    def stop(self) -> None:
        """Ask it to end after the task at hand."""
        self._stop.set()

    def run_once(self) -> dict[str, int]:
        """Do one round of every task, and return how much each had to do."""
        return {task.name: self._do(task) for task in self._tasks}

    def run(self) -> None:
        """Work until `stop` is called."""
        # Workers that start together do not stay together.
        due = {task.name: time.monotonic() + random.uniform(0, min(task.every, 5)) for task in self._tasks}  # noqa: S311
        while not self._stop.is_set():
            now = time.monotonic()
            for task in self._tasks:
                if due[task.name] <= now and not self._stop.is_set():
                    self._do(task)
                    due[task.name] = time.monotonic() + task.every
            self._stop.wait(max(0.05, min([*due.values(), now + 60]) - time.monotonic()))

    def _do(self, task: Task) -> int:
        try:
            done = task.work(self._database, self._config, self._clock)
        except Problem as problem:
            # The database is away or full: the next round tries again.
            _log.warning("%s: %s", task.name, problem.detail)
            return 0
        except Exception:
            _log.exception("%s failed", task.name)
            return 0
        if done:
            _log.info("%s: %s", task.name, done)
        return done


def run_until_stopped(database: Database, config: Config) -> None:
    """Run the worker until SIGTERM or SIGINT.

    Raises
    ------
    WrongRevision
        When the database has not been migrated to this release.
    AnotherSecret
        When the database belongs to another secret.
    """
    try:
        check_database(database, config)
        worker = Worker(database, config)
        for number in (signal.SIGTERM, signal.SIGINT):
            signal.signal(number, lambda *_: worker.stop())
        _log.info("the worker is ready")
        worker.run()
        _log.info("the worker has stopped")
    finally:
        database.dispose()
