import socket
from collections.abc import Iterator

import pytest

from shop.management.ports import NoPortError, free_port

HOST = "127.0.0.1"


@pytest.fixture
def taken() -> Iterator[int]:
    with socket.socket() as server:
        server.bind((HOST, 0))
        server.listen()
        yield server.getsockname()[1]


def test_a_free_port_is_used_without_a_word():
    with socket.socket() as probe:
        probe.bind((HOST, 0))
        port = probe.getsockname()[1]
    lines: list[str] = []
    assert (free_port(HOST, port, say=lines.append), lines) == (port, [])


def test_a_taken_port_is_said_and_the_next_free_one_used(taken):
    lines: list[str] = []
    port = free_port(HOST, taken, say=lines.append)
    assert port > taken
    assert lines == [f"Port {taken} is taken by another program; using {port}."]


def test_a_port_just_left_is_not_taken():
    """The system keeps a closed connection's port for a minute; a quick second start must not move because of it."""
    with socket.socket() as server:
        server.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        server.bind((HOST, 0))
        server.listen()
        port = server.getsockname()[1]
        with socket.create_connection((HOST, port)) as client:
            accepted, _ = server.accept()
            accepted.close()  # who closes first keeps the port waiting
            assert client.recv(1) == b""
    assert free_port(HOST, port, say=pytest.fail) == port


def test_without_any_free_port_it_says_so(taken, monkeypatch):
    monkeypatch.setattr("shop.management.ports.TRIES", 1)
    with pytest.raises(NoPortError, match="Choose another with --port"):
        free_port(HOST, taken, say=pytest.fail)


def test_an_address_of_another_machine_is_not_tried_port_by_port():
    with pytest.raises(NoPortError, match="cannot be used"):
        free_port("192.0.2.1", 8000, say=pytest.fail)  # a documentation address (RFC 5737)


@pytest.mark.parametrize("wrong", [-1, 0, 65536])
def test_what_is_no_port_is_refused(wrong):
    with pytest.raises(NoPortError, match="from 1 to 65535"):
        free_port(HOST, wrong, say=pytest.fail)
