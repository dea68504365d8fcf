"""A mail server in a process of its own, which is never killed: it writes down the Message-ID of whatever it takes."""

import asyncio
import os
import random
import signal
from collections import Counter
from email import message_from_bytes
from pathlib import Path
from typing import Any

from aiosmtpd.controller import Controller

FROM = "desk@low-mill.example"
#: Longest time between having taken a message and saying so [s]: where a kill leaves nobody who knows.
SLOWEST_ANSWER = 0.2


class Counting:
    def __init__(self, book: Path) -> None:
        self._book = os.open(book, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600)

    async def handle_DATA(self, _server: Any, _session: Any, envelope: Any) -> str:
        name = message_from_bytes(envelope.original_content)["Message-ID"]
        os.write(self._book, f"{name}\n".encode())
        await asyncio.sleep(random.uniform(0, SLOWEST_ANSWER))
        return "250 taken"


def serve(port: int, book: Path) -> None:
    """For a process of its own: until it is killed."""
    Controller(Counting(book), hostname="127.0.0.1", port=port).start()
    while True:
        signal.pause()


def account(port: int) -> dict[str, str]:
    """What the environment says so that mail goes there."""
    return {"BAREFRAME_MAIL": f"smtp://127.0.0.1:{port}", "BAREFRAME_MAIL_FROM": FROM}


def taken(book: Path) -> Counter[str]:
    return Counter(book.read_text().split()) if book.exists() else Counter()
