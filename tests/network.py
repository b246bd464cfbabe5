"""No test reaches beyond this machine: an attempt fails the test, wherever in the code it is made."""

from __future__ import annotations

import ipaddress
import socket
import sys
from typing import Any

import pytest

WATCHED = {"socket.connect", "socket.sendto", "socket.sendmsg"}
LOOKED_UP = {"socket.getaddrinfo", "socket.gethostbyname"}


def is_near(host: object) -> bool:
    """Tell whether a host name or address is this machine's own."""
    text = host.decode() if isinstance(host, bytes) else str(host or "localhost")
    if text in {"localhost", "localhost.localdomain", socket.gethostname()}:
        return True
    try:
        return ipaddress.ip_address(text.partition("%")[0]).is_loopback
    except ValueError:
        return False


def is_address(host: object) -> bool:
    """Tell whether `host` is a numeric address, which needs no name server."""
    try:
        ipaddress.ip_address(host.decode() if isinstance(host, bytes) else str(host))
    except ValueError:
        return False
    return True


def refuse_distant_hosts(event: str, arguments: tuple[Any, ...]) -> None:
    """Fail the test that connects to, sends to or looks up a host beyond this machine."""
    if event in WATCHED:
        connection, address = arguments[0], arguments[1]
        if connection.family == socket.AF_UNIX or not isinstance(address, tuple) or is_near(address[0]):
            return
        pytest.fail(f"a test tried to reach {address[0]}; tests use loopback only")
    elif event in LOOKED_UP and not (is_near(arguments[0]) or is_address(arguments[0])):
        pytest.fail(f"a test tried to look up {arguments[0]}; tests use loopback only")


def pytest_configure(config: pytest.Config) -> None:
    """Watch from before the first test module is read (audit hooks: PEP 578)."""
    sys.addaudithook(refuse_distant_hosts)
