"""The page that helps a device trust the shop: what it says, and that its server gives away nothing else."""

import html
import http.client
import re
import subprocess
import sys
from collections.abc import Iterator
from datetime import UTC, datetime
from ipaddress import IPv4Address
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes

from shop import tls
from shop.management import lan, trust_server
from tests.shop.tree.processes import wait_for

NAMES = tls.Names(("bench.local",), (IPv4Address("192.168.7.20"),))


@pytest.fixture
def prepared(tmp_path, settings, monkeypatch) -> lan.Lan:
    settings.HOME = tmp_path
    monkeypatch.setattr(tls, "local_names", lambda: NAMES)
    return lan.prepare(port=8443, now=datetime.now(UTC))


@pytest.fixture
def server(prepared) -> Iterator[http.client.HTTPConnection]:
    port = free()
    program = [sys.executable, "-I", "-S", trust_server.__file__, str(prepared.page), str(port)]
    process = subprocess.Popen(program, stderr=subprocess.DEVNULL)
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=5)
    wait_for(lambda: answers(connection), seconds=5)
    yield connection
    connection.close()
    process.kill()
    process.wait()


def free() -> int:
    import socket

    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def answers(connection: http.client.HTTPConnection) -> bool:
    try:
        get(connection, "/")
    except OSError:
        connection.close()
        return False
    return True


def get(connection: http.client.HTTPConnection, path: str, method: str = "GET") -> tuple[int, bytes]:
    connection.request(method, path)
    answer = connection.getresponse()
    return answer.status, answer.read()


def test_the_page_shows_the_fingerprint_of_the_certificate_it_hands_out(server):
    _, certificate = get(server, "/bareframe.crt")
    wanted = x509.load_pem_x509_certificate(certificate).fingerprint(hashes.SHA256()).hex(" ").upper()
    _, page = get(server, "/")
    shown = " ".join(re.findall(r"<code>([0-9A-F ]+)</code>", page.decode()))
    assert shown == wanted


def test_it_leads_to_every_address_of_the_shop(server):
    _, page = get(server, "/")
    links = re.findall(r'href="(https://[^"]+)"', html.unescape(page.decode()))
    assert links == ["https://192.168.7.20:8443/", "https://bench.local:8443/"]


@pytest.mark.parametrize(
    "path",
    ["/authority.key", "/../authority.key", "/%2e%2e/authority.key", "/index.html", "/bareframe.crt/", "/?x"],
)
def test_nothing_else_is_served(server, path):
    status, body = get(server, path)
    assert status == 404
    assert b"KEY" not in body


@pytest.mark.parametrize("method", ["POST", "PUT", "DELETE"])
def test_nothing_can_be_sent(server, method):
    assert get(server, "/", method)[0] == 501


def test_the_environment_of_the_web_process_names_what_the_certificate_does(prepared):
    assert prepared.environment == {
        "BAREFRAME_HTTPS": "1",
        "BAREFRAME_HOSTS": "192.168.7.20,bench.local,127.0.0.1",
    }


def test_no_key_lies_where_the_page_is(prepared):
    assert sorted(path.name for path in Path(prepared.page).iterdir()) == ["bareframe.crt", "index.html", "trust.css"]
