"""The guard that keeps tests on this machine."""

from __future__ import annotations

import socket

import pytest

DISTANT = ("192.0.2.1", 9)  # TEST-NET-1, RFC 5737


def test_a_distant_connection_fails_the_test() -> None:
    with socket.socket() as connection, pytest.raises(pytest.fail.Exception, match="loopback only"):
        connection.connect(DISTANT)


def test_a_distant_datagram_fails_the_test() -> None:
    with (
        socket.socket(type=socket.SOCK_DGRAM) as connection,
        pytest.raises(pytest.fail.Exception, match="loopback only"),
    ):
        connection.sendto(b"x", DISTANT)


def test_looking_up_a_distant_name_fails_the_test() -> None:
    with pytest.raises(pytest.fail.Exception, match="look up"):
        socket.getaddrinfo("shop.example", 80)


def test_loopback_is_open() -> None:
    with (
        socket.create_server(("127.0.0.1", 0)) as server,
        socket.create_connection(server.getsockname()) as near,
    ):
        assert near.getpeername() == server.getsockname()
    assert socket.getaddrinfo("localhost", 80)
