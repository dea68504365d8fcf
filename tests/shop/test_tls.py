"""The certificates of ``--lan``, judged by OpenSSL, which had no part in making them."""

import shutil
import socket
import ssl
import stat
import threading
from datetime import UTC, datetime, timedelta
from ipaddress import IPv4Address
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric import ec

from shop import tls

NOW = datetime.now(UTC).replace(microsecond=0)
NAMES = tls.Names(("bench.local", "bench"), (IPv4Address("192.168.7.20"), IPv4Address("10.0.0.5")))
LOOPBACK = "127.0.0.1"


def hand_shake(certificates: tls.Certificates, name: str) -> None:
    """A client that trusts the authority alone visits ``name``; raises what the client would say."""
    server = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    server.load_cert_chain(certificates.certificate, certificates.key)
    client = ssl.create_default_context(cafile=str(certificates.authority))
    ours, theirs = socket.socketpair()
    with ours, theirs:
        ours.settimeout(5)
        theirs.settimeout(5)
        thread = threading.Thread(target=_answer, args=(server, theirs))
        thread.start()
        try:
            client.wrap_socket(ours, server_hostname=name).close()
        finally:
            ours.close()
            thread.join()


def _answer(server: ssl.SSLContext, end: socket.socket) -> None:
    try:
        server.wrap_socket(end, server_side=True).close()
    except (ssl.SSLError, OSError):  # the client refused, which is for the client to say
        end.close()


@pytest.mark.parametrize("name", ["192.168.7.20", "10.0.0.5", "bench.local", "bench", LOOPBACK])
def test_a_device_that_trusts_the_authority_accepts_every_name_of_the_machine(tmp_path, name):
    hand_shake(tls.ensure(tmp_path, NAMES, now=NOW), name)


@pytest.mark.parametrize("name", ["192.168.7.21", "other.local", "example.com"])
def test_it_accepts_no_other_name(tmp_path, name):
    with pytest.raises(ssl.SSLCertVerificationError, match="match"):
        hand_shake(tls.ensure(tmp_path, NAMES, now=NOW), name)


@pytest.mark.parametrize("site", ["example.com", "localhost.example.com"])
def test_a_stolen_authority_cannot_vouch_for_a_site_on_the_internet(tmp_path, site):
    with pytest.raises(ssl.SSLCertVerificationError, match="permitted subtree violation"):
        hand_shake(_forged(tmp_path, tls.Names((site,), ())), site)


def test_nor_for_an_address_on_the_internet(tmp_path):
    # 198.51.100.0/24 is set aside for documentation (RFC 5737): outside every private range.
    forged = _forged(tmp_path, tls.Names((), (IPv4Address("198.51.100.1"),)))
    with pytest.raises(ssl.SSLCertVerificationError, match="permitted subtree violation"):
        hand_shake(forged, "198.51.100.1")


def _forged(folder: Path, names: tls.Names) -> tls.Certificates:
    """What a thief of the key could sign, past the rule that only allowed names are signed."""
    good = tls.ensure(folder, NAMES, now=NOW)
    authority = x509.load_pem_x509_certificate(good.authority.read_bytes())
    thief = serialization.load_pem_private_key((folder / "authority.key").read_bytes(), password=None)
    assert isinstance(thief, ec.EllipticCurvePrivateKey)
    key = serialization.load_pem_private_key(good.key.read_bytes(), password=None)
    assert isinstance(key, ec.EllipticCurvePrivateKey)
    signed = tls._sign(authority, thief, key, names, now=NOW)
    good.certificate.write_bytes(signed.public_bytes(serialization.Encoding.PEM))
    return good


def test_a_public_address_of_the_machine_itself_is_allowed(tmp_path):
    hand_shake(tls.ensure(tmp_path, tls.Names((), (IPv4Address("198.51.100.1"),)), now=NOW), "198.51.100.1")


def test_a_later_start_keeps_what_is_there(tmp_path):
    first = tls.ensure(tmp_path, NAMES, now=NOW)
    content = {path.name: path.read_bytes() for path in tmp_path.iterdir()}
    second = tls.ensure(tmp_path, NAMES, now=NOW + timedelta(days=300))
    assert (first.renewed, second.renewed) == (True, False)
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == content


def test_new_names_get_a_new_certificate_from_the_same_authority(tmp_path):
    first = tls.ensure(tmp_path, NAMES, now=NOW)
    moved = tls.ensure(tmp_path, tls.Names(NAMES.hosts, (IPv4Address("192.168.7.99"),)), now=NOW)
    assert moved.renewed
    assert moved.fingerprint == first.fingerprint
    hand_shake(moved, "192.168.7.99")


def test_a_host_name_the_authority_may_not_vouch_for_is_left_out_and_the_rest_works(tmp_path):
    tls.ensure(tmp_path, NAMES, now=NOW)
    renamed = tls.ensure(tmp_path, tls.Names(("press.local", "press"), NAMES.addresses), now=NOW)
    hand_shake(renamed, "press.local")
    with pytest.raises(ssl.SSLCertVerificationError, match="Hostname mismatch"):
        hand_shake(renamed, "press")


def test_a_certificate_near_its_end_is_renewed_and_the_authority_stays(tmp_path):
    first = tls.ensure(tmp_path, NAMES, now=NOW)
    end = x509.load_pem_x509_certificate(first.certificate.read_bytes()).not_valid_after_utc
    assert not tls.ensure(tmp_path, NAMES, now=end - timedelta(days=31)).renewed
    later = tls.ensure(tmp_path, NAMES, now=end - timedelta(days=29))
    assert later.renewed
    assert later.fingerprint == first.fingerprint


def test_an_authority_that_would_end_before_its_certificates_is_made_anew(tmp_path):
    first = tls.ensure(tmp_path, NAMES, now=NOW - timedelta(days=3300))
    later = tls.ensure(tmp_path, NAMES, now=NOW)
    assert later.fingerprint != first.fingerprint
    hand_shake(later, "bench.local")


@pytest.mark.parametrize("missing", ["server.key", "server.pem", "authority.key", "authority.pem"])
def test_a_start_that_was_cut_short_is_made_good(tmp_path, missing):
    tls.ensure(tmp_path, NAMES, now=NOW)
    (tmp_path / missing).unlink()
    hand_shake(tls.ensure(tmp_path, NAMES, now=NOW), "bench.local")


def test_a_key_that_belongs_to_another_certificate_is_made_good(tmp_path):
    tls.ensure(tmp_path / "one", NAMES, now=NOW)
    tls.ensure(tmp_path / "two", NAMES, now=NOW)
    shutil.copy(tmp_path / "two" / "server.key", tmp_path / "one" / "server.key")
    hand_shake(tls.ensure(tmp_path / "one", NAMES, now=NOW), "bench.local")


def test_only_the_account_that_serves_may_read_the_keys(tmp_path):
    folder = tmp_path / "tls"
    tls.ensure(folder, NAMES, now=NOW)
    assert stat.S_IMODE(folder.stat().st_mode) == 0o700
    assert {stat.S_IMODE(path.stat().st_mode) for path in folder.iterdir()} == {0o600}


def test_a_certificate_lives_no_longer_than_devices_accept(tmp_path):
    """Some devices refuse a certificate of more than 825 days (their maker's published requirement; from memory)."""
    made = tls.ensure(tmp_path, NAMES, now=NOW)
    certificate = x509.load_pem_x509_certificate(made.certificate.read_bytes())
    assert certificate.not_valid_after_utc - certificate.not_valid_before_utc < timedelta(days=825)


def test_this_machine_has_names_that_others_can_use():
    names = tls.local_names()
    assert not any(address.is_loopback for address in names.addresses)
    assert "localhost" not in names.hosts
