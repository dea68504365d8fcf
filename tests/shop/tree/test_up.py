"""``manage.py up``: the real service, started and stopped."""

import http.cookiejar
import json
import os
import re
import signal
import socket
import ssl
import subprocess
import sys
import urllib.error
import urllib.parse
import urllib.request
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tests.shop.tree.processes import alive, wait_for

ROOT = Path(__file__).resolve().parents[3]
SLOW = 60  # seconds for a start on a busy machine


class Service:
    """One run of ``up``; its output goes to a file, where it can be read while it runs."""

    def __init__(self, home: Path, *flags: str, **environment: str) -> None:
        self.home = home
        self.log = home.with_name(f"{home.name}-{len(list(home.parent.glob('*.log')))}.log")
        clean = {name: value for name, value in os.environ.items() if not name.startswith("BAREFRAME_")}
        with self.log.open("w") as output:
            self.process = subprocess.Popen(
                [sys.executable, "manage.py", "up", *flags],
                cwd=ROOT,
                env=clean | {"BAREFRAME_HOME": str(home)} | environment,
                stdout=output,
                stderr=subprocess.STDOUT,
            )

    @property
    def said(self) -> str:
        return self.log.read_text()

    @property
    def address(self) -> str:
        wait_for(lambda: "Ctrl-C" in self.said or self.process.poll() is not None, seconds=SLOW)
        found = re.search(r"Bareframe: (\S+)", self.said)
        assert found, self.said
        return found[1]

    def serves(self) -> bool:
        """Whether the sign-in page comes, with all that its making takes."""
        try:
            with urllib.request.urlopen(f"{self.address}sign-in/", timeout=5) as answer:
                return answer.status == 200
        except (urllib.error.URLError, ConnectionError):
            return False

    def until_serving(self) -> "Service":
        wait_for(self.serves, seconds=SLOW)
        return self

    def end(self) -> int:
        self.process.terminate()
        return self.process.wait(timeout=20)

    def children(self) -> list[dict[str, object]]:
        return json.loads((self.home / "processes.json").read_text())["children"]


Begin = Callable[..., Service]


@pytest.fixture(scope="module")
def made_home(tmp_path_factory) -> Path:
    """A shop that was begun empty, served and stopped; later tests start it again."""
    home = tmp_path_factory.mktemp("shop") / "home"
    service = Service(home, "--empty", "--port", str(free_port()))
    try:
        service.until_serving()
    finally:
        service.end()
    (home / "first.log").write_text(service.said)
    return home


@pytest.fixture
def begin() -> Iterator[Begin]:
    started: list[Service] = []

    def run(home: Path, *flags: str, **environment: str) -> Service:
        if "--port" not in flags:
            flags = (*flags, "--port", str(free_port()))
        started.append(Service(home, *flags, **environment))
        return started[-1]

    yield run
    for service in started:
        if service.process.poll() is None:
            service.process.kill()
            service.process.wait()


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def test_the_password_of_an_empty_shop_opens_it(made_home, begin):
    password = re.search(r"manager\s+(\S+)", (made_home / "first.log").read_text())
    assert password
    service = begin(made_home).until_serving()
    assert password[1] not in service.said
    opener = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(http.cookiejar.CookieJar()))
    with opener.open(f"{service.address}sign-in/") as page:
        token = re.search(r'name="csrfmiddlewaretoken" value="([^"]+)"', page.read().decode())
    assert token
    typed = {"csrfmiddlewaretoken": token[1], "login": "manager", "password": password[1]}
    with opener.open(f"{service.address}sign-in/", urllib.parse.urlencode(typed).encode()) as page:
        assert page.url == service.address
        assert page.status == 200


def test_nobody_else_on_the_machine_may_read_what_is_kept(made_home):
    kept = [path for path in made_home.iterdir() if path.name != "first.log"]
    assert made_home / "bareframe.sqlite3" in kept
    assert [path.name for path in kept if path.stat().st_mode & 0o077] == []


def test_a_later_start_prepares_nothing_again(made_home, begin):
    first = (made_home / "first.log").read_text()
    assert "Preparing the database" in first
    assert "Collecting static files" in first
    service = begin(made_home).until_serving()
    assert service.said == f"Bareframe: {service.address}   (Ctrl-C ends it)\n"


def test_empty_says_that_it_changes_nothing_in_a_shop_that_was_begun(made_home, begin):
    assert "--empty changes nothing" in begin(made_home, "--empty").until_serving().said


def test_a_taken_port_is_said_and_the_next_one_used(made_home, begin):
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        taken = other.getsockname()[1]
        service = begin(made_home, "--port", str(taken)).until_serving()
        assert f"Port {taken} is taken by another program; using " in service.said


def test_one_folder_is_served_once(made_home, begin):
    begin(made_home).until_serving()
    second = begin(made_home)
    assert second.process.wait(timeout=SLOW) == 1
    assert "already running from" in second.said


def test_the_folder_is_free_again_when_the_supervisor_was_killed(made_home, begin):
    first = begin(made_home).until_serving()
    first.process.kill()
    first.process.wait()
    begin(made_home).until_serving()


def test_what_endangers_the_data_keeps_it_from_starting(made_home, begin):
    service = begin(made_home, BAREFRAME_CURRENCY="XXQ")
    assert service.process.wait(timeout=SLOW) == 1
    assert "ISO 4217" in service.said
    assert "Nothing was started" in service.said
    assert "Bareframe: " not in service.said


def test_a_database_that_does_not_answer_is_told_in_a_sentence(made_home, begin):
    service = begin(made_home, BAREFRAME_DATABASE="postgres://nobody@127.0.0.1:1/nothing")
    assert service.process.wait(timeout=SLOW) == 1
    assert "The database cannot be used" in service.said
    assert "Traceback" not in service.said


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGKILL])
def test_web_and_background_end_with_it(made_home, begin, number):
    service = begin(made_home).until_serving()
    wait_for(lambda: len(of_this(service)) >= 4, seconds=SLOW)  # supervisor, web and its worker, background
    service.process.send_signal(number)
    wait_for(lambda: not of_this(service), seconds=10)


def of_this(service: Service) -> list[int]:
    """Its processes, whichever way they were started: all carry the folder in their environment."""
    wanted = f"BAREFRAME_HOME={service.home}".encode()
    return [number for number in alive(sys.executable) if wanted in environment_of(number)]


def environment_of(number: int) -> list[bytes]:
    try:
        return Path(f"/proc/{number}/environ").read_bytes().split(b"\0")
    except OSError:
        return []


def test_web_comes_back_when_it_was_killed(made_home, begin):
    service = begin(made_home).until_serving()
    for number in set(of_this(service)) & set(alive("granian")):
        os.kill(number, signal.SIGKILL)
    service.until_serving()
    assert "web ended (signal 9); starting it again" in service.said


def test_the_folder_can_be_given_as_an_option(made_home, begin, tmp_path):
    service = begin(tmp_path / "unused", "--home", str(made_home)).until_serving()
    assert "Preparing" not in service.said


def test_lan_serves_https_that_a_device_which_trusts_it_accepts(made_home, begin):
    port = free_port()
    service = begin(made_home, "--lan", "--port", str(port))
    assert service.address.startswith("https://")
    trusting = ssl.create_default_context(cafile=str(made_home / "tls" / "authority.pem"))

    def visit() -> tuple[int, str]:
        try:
            with urllib.request.urlopen(f"https://127.0.0.1:{port}/sign-in/", context=trusting, timeout=5) as answer:
                return answer.status, answer.headers["Set-Cookie"] or ""
        except (ConnectionError, urllib.error.URLError):  # not yet; one that is not trusted never comes
            return 0, ""

    wait_for(lambda: visit()[0] == 200, seconds=SLOW)
    assert "__Host-csrf" in visit()[1]
    fingerprint = re.findall(r"^  ((?:[0-9A-F]{2} ?){4})$", service.said, re.MULTILINE)
    assert len(fingerprint) == 8
    page = re.search(r"http://\S+:(\d+)/", service.said)
    assert page, service.said
    with urllib.request.urlopen(f"http://127.0.0.1:{page[1]}/", timeout=5) as answer:
        assert fingerprint[0] in answer.read().decode()


def test_with_redis_celery_takes_the_place_of_the_background_process(made_home, begin):
    """Only who is started; what Celery does then is shown where a Redis is at hand."""
    service = begin(made_home, BAREFRAME_REDIS="redis://127.0.0.1:1/0").until_serving()
    assert [child["name"] for child in service.children()] == ["web", "worker", "beat"]
