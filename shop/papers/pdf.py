"""HTML to PDF in a child process with bounded time and memory, and without network or files."""

import json
import logging
import os
import select
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Mapping
from pathlib import Path

from django.conf import settings

from shop.papers import pdf_child

SECONDS = 20.0
# On top of the loaded library. Measured: 60 table rows take 90 MiB, 1,000 rows 210 MiB.
MEMORY = 512 * 2**20

FONT_FILES = ("inter-latin.woff2", "inter-latin-ext.woff2")
# Names for ``render``; a page's own stylesheet loads the same files by their address.
FONT_FACES = """
@font-face { font-family: Inter; src: url(asset:inter-latin.woff2) }
@font-face { font-family: Inter; src: url(asset:inter-latin-ext.woff2);
  unicode-range: U+0100-02BA, U+1E00-1E9F, U+20A0-20AB, U+20AD-20C0, U+2C60-2C7F, U+A720-A7FF }
"""
KEPT_ENVIRONMENT = ("PATH", "HOME", "LANG", "LC_ALL", "XDG_CACHE_HOME", "FONTCONFIG_FILE", "FONTCONFIG_PATH")

REASONS = {pdf_child.REFUSED: "refused", pdf_child.BROKEN: "broken"}

log = logging.getLogger("bareframe.papers")


class RenderFailed(Exception):
    """No PDF was made. ``reason`` is one of ``time``, ``memory``, ``refused``, ``broken``, ``crashed``."""

    def __init__(self, reason: str, detail: str = "") -> None:
        super().__init__(f"{reason}: {detail}" if detail else reason)
        self.reason = reason
        self.detail = detail


def fonts() -> dict[str, bytes]:
    """The vendored fonts as assets, to go with ``FONT_FACES``."""
    folder = Path(settings.BASE_DIR) / "static" / "fonts"
    return {name: (folder / name).read_bytes() for name in FONT_FILES}


def render(html: str, *, assets: Mapping[str, bytes], seconds: float = SECONDS, memory: int = MEMORY) -> bytes:
    """A tagged PDF (PDF/UA-1) of ``html``, which must have a title and a language.

    ``assets`` are the only things the document may load, as ``asset:NAME``. Any other address is passed
    over; an asset that was not handed over is an error. Raises ``RenderFailed``.
    """
    with tempfile.TemporaryDirectory(prefix="paper-") as name:
        folder = Path(name)
        run = _fork if fork_is_safe() else _start
        status = run(folder, html, assets, seconds, memory)
        if status == pdf_child.DONE:
            return (folder / pdf_child.RESULT).read_bytes()
        failure = _failure(folder, status)
    log.warning("No PDF was made (%s).", failure)
    raise failure


def preload() -> None:
    """For a background process of one thread: load the library now, so that a child is a quick copy."""
    import weasyprint  # noqa: F401  (loaded for its children)


def fork_is_safe() -> bool:
    """A copy of a process with several threads may inherit a lock that nobody will ever release."""
    if "weasyprint" not in sys.modules or threading.active_count() != 1 or not hasattr(os, "pidfd_open"):
        return False
    return len(os.listdir("/proc/self/task")) == 1


def _failure(folder: Path, status: int | None) -> RenderFailed:
    if status is None or status == -signal.SIGALRM:
        return RenderFailed("time", "It took too long.")
    if status == pdf_child.MEMORY:
        return RenderFailed("memory", "It took too much memory.")
    if status in REASONS:
        return RenderFailed(REASONS[status], (folder / pdf_child.DETAIL).read_text(encoding="utf-8"))
    return RenderFailed("crashed", f"The renderer ended with status {status}.")


def _start(folder: Path, html: str, assets: Mapping[str, bytes], seconds: float, memory: int) -> int | None:
    """A fresh process, for callers with threads. ``None`` means that the time was up."""
    deadline = time.monotonic() + seconds
    files = {name: f"asset-{number}" for number, name in enumerate(assets)}
    for name, file in files.items():
        (folder / file).write_bytes(assets[name])
    job = {"html": html, "assets": files, "seconds": seconds, "memory": memory}
    (folder / pdf_child.JOB).write_text(json.dumps(job), encoding="utf-8")
    kept = {key: os.environ[key] for key in KEPT_ENVIRONMENT if key in os.environ}
    with subprocess.Popen(  # noqa: S603  (our own interpreter and file, no shell)
        [sys.executable, "-I", pdf_child.__file__, str(folder)],
        env=kept,
        cwd=folder,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    ) as process:
        try:
            return process.wait(timeout=max(0.0, deadline - time.monotonic()))
        except subprocess.TimeoutExpired:
            return None
        finally:
            process.kill()


def _fork(folder: Path, html: str, assets: Mapping[str, bytes], seconds: float, memory: int) -> int | None:
    """A copy of this process, in which the library is loaded already."""
    child = os.fork()
    if child == 0:
        status = 1  # as for any interpreter that fails
        try:
            _detach()
            status = pdf_child.work(folder, html, assets, seconds=seconds, memory=memory)
        finally:
            os._exit(status)  # no clean-up of what belongs to the parent: connections, buffers, exit handlers
    watch = os.pidfd_open(child)
    try:
        ended, _, _ = select.select([watch], [], [], seconds)
    finally:
        os.close(watch)
        os.kill(child, signal.SIGKILL)  # a child that has ended waits for us, so its number is still its own
        _, raw = os.waitpid(child, 0)
    return os.waitstatus_to_exitcode(raw) if ended else None


def _detach() -> None:
    """Let go of the parent's signals, sockets and files; numbers stay taken, as objects still hold them."""
    signal.set_wakeup_fd(-1)
    for number in (signal.SIGTERM, signal.SIGINT, signal.SIGHUP, signal.SIGQUIT, signal.SIGCHLD):
        signal.signal(number, signal.SIG_DFL)
    nowhere = os.open(os.devnull, os.O_RDWR)
    for name in os.listdir("/proc/self/fd"):
        if int(name) != nowhere:
            _put_nowhere(nowhere, int(name))


def _put_nowhere(nowhere: int, number: int) -> None:
    try:
        os.fstat(number)
    except OSError:  # the listing's own
        return
    os.dup2(nowhere, number)
