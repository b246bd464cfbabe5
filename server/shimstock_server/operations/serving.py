"""Gunicorn inside this process: no configuration file, every setting on the command line."""

from __future__ import annotations

import logging
from typing import Any

import sqlalchemy.exc
from gunicorn.app.base import BaseApplication  # type: ignore[import-untyped]
from gunicorn.glogging import Logger  # type: ignore[import-untyped]
from prometheus_client import multiprocess

from shimstock_server.config import Config
from shimstock_server.database import migrate
from shimstock_server.database.in_use import Replacing
from shimstock_server.web.problems import DatabaseAway

from .logs import set_up

_log = logging.getLogger(__name__)


class _Logs(Logger):  # type: ignore[misc]
    """Gunicorn's own lines, written as all others of the service are."""

    def setup(self, cfg: Any) -> None:
        """Send what gunicorn has to say to the service's log."""
        super().setup(cfg)
        self.error_log.handlers[:] = []
        self.error_log.propagate = True


class Gunicorn(BaseApplication):  # type: ignore[misc]
    """The service under gunicorn.

    Each worker makes its own application, and with it its own database connections, after the fork.
    """

    def __init__(self, config: Config, *, bind: str, workers: int, threads: int) -> None:
        self._settings = config
        self._options: dict[str, Any] = {
            "bind": bind,
            "workers": workers,
            "threads": threads,
            "worker_class": "gthread",
            "timeout": 60,
            "graceful_timeout": 30,
            "keepalive": 5,
            "preload_app": False,
            "accesslog": None,
            "errorlog": "-",
            "logger_class": _Logs,
            "loglevel": "warning",
            "control_socket_disable": True,
            "limit_request_line": 8190,
            "limit_request_fields": 60,
            "child_exit": _forget_figures,
            "proc_name": "shimstock",
            # The proxy's headers are weighed by the service itself (SHIMSTOCK_PROXIES).
            "forwarded_allow_ips": "127.0.0.1,::1" if config.proxies else "",
        }
        super().__init__()

    def load_config(self) -> None:
        """Give gunicorn its settings."""
        for name, value in self._options.items():
            self.cfg.set(name, value)

    def load(self) -> Any:
        """Return the application, in the worker."""
        from shimstock_server.app import check_database, create_app

        set_up(self._settings.log_level)
        app = create_app(self._settings, check_revision=False)
        try:
            check_database(app.extensions["shimstock"].database, self._settings)
        except (sqlalchemy.exc.DBAPIError, migrate.NoDatabase, Replacing, DatabaseAway):
            # The command has looked before the first worker began. One that takes the place of another while
            # the database is away answers 503 until it is back; if it ended, the whole service would.
            _log.error("the database is away", exc_info=True)
        return app


def serve(config: Config, *, bind: str, workers: int, threads: int) -> None:
    """Serve until SIGTERM or SIGINT, then finish what is under way and leave the process."""
    from shimstock_server.app import import_areas

    set_up(config.log_level)
    import_areas()  # once here, before the fork, and not once in each worker
    Gunicorn(config, bind=bind, workers=workers, threads=threads).run()


def _forget_figures(_server: Any, worker: Any) -> None:
    multiprocess.mark_process_dead(worker.pid)  # type: ignore[no-untyped-call]
