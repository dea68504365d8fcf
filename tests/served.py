"""The whole service as a new user starts it: one process tree over a fresh folder, with the demo workshop."""

import os
import re
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright

ROOT = Path(__file__).resolve().parent.parent
CHROMIUM = "/usr/bin/chromium"
#: Quiet and off line: without these the browser looks for its maker's servers.
FLAGS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)
START_LIMIT = 400.0


@dataclass(frozen=True)
class Served:
    """Where the service is, and who may sign in: user name to password."""

    address: str
    passwords: dict[str, str]
    home: Path


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@contextmanager
def served(home: Path, *options: str) -> Iterator[Served]:
    """Run `manage.py up` over ``home`` until the block ends."""
    port = free_port()
    out = home / "said.txt"
    environment = {key: value for key, value in os.environ.items() if not key.startswith("BAREFRAME_")}
    with out.open("wb") as said:
        process = subprocess.Popen(
            [sys.executable, "manage.py", "up", "--port", str(port), "--home", str(home), *options],
            cwd=ROOT,
            env=environment,
            stdout=said,
            stderr=subprocess.STDOUT,
            start_new_session=True,
        )
    try:
        _wait(f"http://localhost:{port}/sign-in/", process, out)
        lines = out.read_text()
        passwords = dict(re.findall(r"^  (desk|mechanic|manager)\s+(\S+)", lines, re.MULTILINE))
        yield Served(f"http://localhost:{port}", passwords, home)
    finally:
        process.send_signal(signal.SIGTERM)
        process.wait(timeout=30)


def _wait(address: str, process: "subprocess.Popen[bytes]", out: Path) -> None:
    until = time.monotonic() + START_LIMIT
    while time.monotonic() < until:
        if process.poll() is not None:
            raise RuntimeError(f"The service ended at once:\n{out.read_text()}")
        try:
            with urllib.request.urlopen(address, timeout=2):
                return
        except OSError:
            time.sleep(0.1)
    raise RuntimeError(f"The service did not answer in {START_LIMIT} s:\n{out.read_text()}")


@contextmanager
def chromium() -> Iterator[Browser]:
    """Debian's Chromium without a window."""
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=list(FLAGS))
        try:
            yield browser
        finally:
            browser.close()


def signed_in(browser: Browser, shop: Served, user: str, **options: object) -> tuple[BrowserContext, Page]:
    """A page on which ``user`` has signed in; what goes wrong in its scripts is kept in ``page.troubles``."""
    context = browser.new_context(**options)  # type: ignore[arg-type]
    page = context.new_page()
    page.goto(f"{shop.address}/sign-in/")
    page.fill("[name=login]", user)
    page.fill("[name=password]", shop.passwords[user])
    page.locator("main form button").click()
    page.wait_for_url(lambda url: "/sign-in/" not in url)
    return context, page
