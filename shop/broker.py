"""Redis as the broker of hints, where a connection that is gone is told as one that is gone.

A message that nobody acknowledged is put back when its channel closes, and one whose work is over is acknowledged late. Where
Redis ended meanwhile, both look for the address of a connection that is not there any more; what comes of it is no error of
a connection, and ends the whole worker. Told as one, the worker goes on and connects again.
"""

from typing import Any

from kombu.transport import redis
from redis.exceptions import ConnectionError as GoneError


class Channel(redis.Channel):
    def _connparams(self, asynchronous: bool = False) -> Any:
        if self.connection is None or self.connection.client is None:
            raise GoneError("This channel is closed.")
        return super()._connparams(asynchronous=asynchronous)  # type: ignore[misc]  # not in its types


class Transport(redis.Transport):
    Channel = Channel
