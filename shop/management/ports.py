import errno
import socket
from collections.abc import Callable
from itertools import count

TRIES = 50


class NoPortError(Exception):
    """Nothing can be served on the port that was asked for; the text says why."""


def free_port(host: str, wanted: int, *, say: Callable[[str], None]) -> int:
    """``wanted``, or the next one free, which is said. Raises `NoPortError` where trying others would not help."""
    if not 1 <= wanted <= 65535:
        raise NoPortError("A port is a number from 1 to 65535.")
    for port in count(wanted):
        if port > 65535 or port >= wanted + TRIES:
            raise NoPortError(f"No port from {wanted} to {port - 1} is free. Choose another with --port.")
        try:
            _try(host, port)
        except PermissionError:
            raise NoPortError(f"Port {port} is kept for the system's own services. Choose one above 1023.") from None
        except OSError as error:
            if error.errno != errno.EADDRINUSE:
                raise NoPortError(f"Port {port} cannot be used: {error.strerror}.") from None
            continue
        if port != wanted:
            say(f"Port {wanted} is taken by another program; using {port}.")
        return port
    raise AssertionError("count() does not end")


def _try(host: str, port: int) -> None:
    with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)  # else a port just left counts as taken
        probe.bind((host, port))
        probe.listen(1)
