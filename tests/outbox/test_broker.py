"""A broker that is gone is told as such, so that a worker connects again."""

from kombu import Connection

from shop.broker import Transport
from shop.celery import app
from tests.faults.stage import free_port


def test_background_jobs_use_it_wherever_the_broker_is_redis() -> None:
    for url in ("redis://127.0.0.1:1/0", "rediss://127.0.0.1:1/0"):
        with app.connection(url) as connection:
            assert isinstance(connection.transport, Transport)


def test_a_channel_that_is_closed_fails_as_a_connection_does() -> None:
    """Source: kombu's own list of what a worker recovers from, `Connection.connection_errors`."""
    connection = Connection(f"redis://127.0.0.1:{free_port()}/0")
    transport = connection.transport
    channel = object.__new__(transport.Channel)  # as it is left when its connection is gone: without connecting first
    for gone in (None, type("Closed", (), {"client": None})()):
        channel.connection = gone
        try:
            channel._connparams()
        except connection.connection_errors:
            continue
        raise AssertionError("a worker would end by this")
