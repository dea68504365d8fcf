"""A mail server on this machine's loopback, which keeps what it is given and misbehaves when told to."""

import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from email import message_from_bytes, policy
from email.message import EmailMessage
from typing import Any

from aiosmtpd.controller import Controller

FROM = "desk@low-mill.example"


@dataclass
class Office:
    """``on_rcpt`` and ``on_data`` are what it answers; "die" is to hang up without an answer, after keeping what came."""

    on_rcpt: str = "250 OK"
    on_data: str = "250 taken"
    taken: list[bytes] = field(default_factory=list)
    envelopes: list[tuple[str, list[str]]] = field(default_factory=list)
    port: int = 0

    async def handle_RCPT(self, _server: Any, _session: Any, envelope: Any, address: str, _options: Any) -> str:
        if self.on_rcpt.startswith("250"):
            envelope.rcpt_tos.append(address)
        return self.on_rcpt

    async def handle_DATA(self, server: Any, _session: Any, envelope: Any) -> str:
        if self.on_data.startswith(("250", "die")):
            self.taken.append(envelope.original_content)
            self.envelopes.append((envelope.mail_from, envelope.rcpt_tos))
        if self.on_data == "die":
            server.transport.abort()
        return self.on_data

    @property
    def letters(self) -> list[EmailMessage]:
        parsed = (message_from_bytes(one, policy=policy.default) for one in self.taken)
        return [one for one in parsed if isinstance(one, EmailMessage)]


@contextmanager
def post_office() -> Iterator[Office]:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        office = Office(port=free.getsockname()[1])
    controller = Controller(office, hostname="127.0.0.1", port=office.port)
    controller.start()
    try:
        yield office
    finally:
        controller.stop()


def account(port: int) -> dict[str, Any]:
    """What ``BAREFRAME_MAIL=smtp://127.0.0.1:port`` gives."""
    return {"host": "127.0.0.1", "port": port, "implicit_tls": False, "user": "", "password": ""}


def text_of(letter: EmailMessage) -> str:
    body = letter.get_body(("plain",))
    assert body is not None
    return str(body.get_content())


@contextmanager
def talking(answers: list[bytes]) -> Iterator[int]:
    """A server that says these lines one by one, each after hearing something, then hangs up; its port.

    An empty answer is silence. After "354" it listens to the end of the message.
    """
    with socket.socket() as door:
        door.bind(("127.0.0.1", 0))
        door.listen(1)
        talker = threading.Thread(target=_talk, args=(door, answers), daemon=True)
        talker.start()
        yield door.getsockname()[1]
    talker.join(5)


def _talk(door: socket.socket, answers: list[bytes]) -> None:
    visitor, _address = door.accept()
    visitor.settimeout(5)
    with visitor:
        for number, answer in enumerate(answers):
            if number:
                _hear(visitor, whole=answers[number - 1].startswith(b"354"))
            if not answer:  # silence, until the other side gives up
                with suppress(OSError):
                    visitor.recv(1)
                return
            visitor.sendall(answer)
        with suppress(OSError):
            visitor.shutdown(socket.SHUT_RDWR)


def _hear(visitor: socket.socket, *, whole: bool) -> None:
    heard = b""
    while not heard.endswith(b"\r\n.\r\n" if whole else b"\r\n"):
        more = visitor.recv(65536)
        if not more:
            return
        heard += more
