"""A tablet's browser on the local network: what only a real one shows."""

import os
import re
import signal
import socket
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page

from tests.shop.tree.processes import wait_for

ROOT = Path(__file__).resolve().parents[2]

pytestmark = pytest.mark.browser


@pytest.fixture
def said(tmp_path) -> Iterator[str]:
    """What ``up --lan`` printed for an empty shop, which is served meanwhile."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    clean = {name: value for name, value in os.environ.items() if not name.startswith("BAREFRAME_")}
    log = tmp_path / "up.log"
    with log.open("w") as output:
        service = subprocess.Popen(
            [sys.executable, "manage.py", "up", "--lan", "--empty", "--port", str(port)],
            cwd=ROOT,
            env=clean | {"BAREFRAME_HOME": str(tmp_path / "home")},
            stdout=output,
            stderr=subprocess.STDOUT,
        )
    try:
        wait_for(lambda: "Ctrl-C" in log.read_text() or service.poll() is not None, seconds=60)
        wait_for(lambda: answers(port), seconds=30)
        yield log.read_text()
    finally:
        service.send_signal(signal.SIGTERM)
        service.wait(timeout=20)


def answers(port: int) -> bool:
    try:
        socket.create_connection(("127.0.0.1", port), timeout=1).close()
    except OSError:
        return False
    return True


@pytest.fixture
def page(browser: Browser) -> Iterator[Page]:
    # Whether the certificate is one to trust is OpenSSL's to say, in test_tls; here the tablet has trusted it.
    context = browser.new_context(ignore_https_errors=True)
    yield context.new_page()
    context.close()


def test_from_the_trust_page_one_comes_to_sign_in_and_can(said, page):
    """Signing in sends a form over HTTPS, which a too strict referrer policy makes the shop refuse."""
    trust = re.search(r"http://\S+", said)
    password = re.search(r"manager\s+(\S+)", said)
    assert trust, said
    assert password
    page.goto(trust[0])
    with page.expect_download() as download:
        page.get_by_role("link", name="Download the certificate").click()
    assert download.value.suggested_filename == "bareframe.crt"
    page.get_by_role("link", name="https://").first.click()
    page.locator("input[name=login]").fill("manager")
    page.locator("input[name=password]").fill(password[1])
    page.locator("input[name=password]").press("Enter")
    page.wait_for_url("https://*/")
    assert page.get_by_role("heading", level=1).count() == 1


def test_the_trust_page_keeps_its_own_policy(said, page):
    refused: list[str] = []
    page.on("console", lambda message: refused.append(message.text) if message.type == "error" else None)
    trust = re.search(r"http://\S+", said)
    assert trust, said
    page.goto(trust[0])
    assert page.get_by_role("heading", level=1).inner_text() == "Let this device trust the workshop"
    assert [text for text in refused if "favicon" not in text and "404" not in text] == []
