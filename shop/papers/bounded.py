"""Untrusted bytes to a child of ours that may fail without harm, and what it says of them."""

import os
import subprocess
import sys

from shop.papers.pdf import KEPT_ENVIRONMENT


class TimeIsUp(Exception):
    """The child was ended because it took longer than it may."""


def run(child: str, content: bytes, *arguments: object, seconds: float) -> tuple[int, bytes]:
    """Exit status and output of the file ``child``, run in a fresh, isolated interpreter over ``content``.

    The child bounds its own memory. Raises `TimeIsUp`.
    """
    command = [sys.executable, "-I", child, *map(str, arguments)]
    kept = {key: os.environ[key] for key in KEPT_ENVIRONMENT if key in os.environ}
    try:
        ran = subprocess.run(  # noqa: S603  (our own interpreter and file, no shell)
            command, input=content, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, env=kept, timeout=seconds
        )
    except subprocess.TimeoutExpired as error:
        raise TimeIsUp from error
    return ran.returncode, ran.stdout
