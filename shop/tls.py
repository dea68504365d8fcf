"""The shop's own certificates for ``--lan``: a small authority that devices are asked to trust, and what it signs.

The authority may vouch for local names and addresses only (RFC 5280, 4.2.1.10), so that whoever trusts it risks
nothing on the internet, even if its key were stolen.
"""

import fcntl
import os
import socket
import struct
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from ipaddress import IPv4Address, IPv4Network
from pathlib import Path

from cryptography import x509
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.asymmetric.ec import EllipticCurvePrivateKey
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

AUTHORITY_LIFE = timedelta(days=3650)
CERTIFICATE_LIFE = timedelta(days=397)
RENEW_BEFORE = timedelta(days=30)
CLOCK_SKEW = timedelta(days=1)  # a tablet's clock may be behind

PRIVATE = tuple(
    map(
        IPv4Network, ("10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16", "100.64.0.0/10", "169.254.0.0/16", "127.0.0.0/8")
    )
)
LOCAL_DOMAINS = ("local", "lan", "home.arpa", "internal")

_SIOCGIFADDR = 0x8915


@dataclass(frozen=True)
class Names:
    """What a device on the local network may call this machine."""

    hosts: tuple[str, ...]
    addresses: tuple[IPv4Address, ...]

    def __str__(self) -> str:
        return ", ".join([*map(str, self.addresses), *self.hosts])


@dataclass(frozen=True)
class Certificates:
    authority: Path
    certificate: Path
    key: Path
    fingerprint: str  # of the authority, as the devices show it
    renewed: bool


def local_names() -> Names:
    host = socket.gethostname().split(".")[0].lower()
    usable = host.isascii() and host.replace("-", "").isalnum() and host != "localhost"
    return Names(hosts=(f"{host}.local", host) if usable else (), addresses=tuple(_addresses()))


def _addresses() -> list[IPv4Address]:
    """Addresses of this machine that others can reach; the one on the way out first."""
    found = [_way_out(), *(_address_of(name) for _, name in socket.if_nameindex())]
    return list(dict.fromkeys(a for a in found if a and not a.is_loopback and not a.is_unspecified))


def _way_out() -> IPv4Address | None:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # a documentation address; nothing is sent
        except OSError:
            return None
        return IPv4Address(probe.getsockname()[0])


def _address_of(interface: str) -> IPv4Address | None:
    if interface.startswith(("docker", "veth", "br-", "virbr")):  # inside this machine only
        return None
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            answer = fcntl.ioctl(probe, _SIOCGIFADDR, struct.pack("256s", interface.encode()[:15]))
        except OSError:
            return None
    return IPv4Address(answer[20:24])


def ensure(folder: Path, names: Names, *, now: datetime) -> Certificates:
    """Certificates for exactly these names: those at hand, or new ones when names changed or the end is near."""
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    authority, authority_key = _ensure_authority(folder, names, now=now)
    path, key_path = folder / "server.pem", folder / "server.key"
    allowed = _allowed(authority, names)
    pair = _load_pair(path, key_path)
    renewed = pair is None or not _still_good(pair[0], authority, allowed, now=now)
    if renewed:
        key = ec.generate_private_key(ec.SECP256R1())
        certificate = _sign(authority, authority_key, key, allowed, now=now)
        _write(key_path, _key_bytes(key))
        _write(path, certificate.public_bytes(serialization.Encoding.PEM))
    return Certificates(folder / "authority.pem", path, key_path, fingerprint(authority), renewed)


def fingerprint(certificate: x509.Certificate) -> str:
    return certificate.fingerprint(hashes.SHA256()).hex(":").upper()


def _ensure_authority(folder: Path, names: Names, *, now: datetime) -> tuple[x509.Certificate, EllipticCurvePrivateKey]:
    path, key_path = folder / "authority.pem", folder / "authority.key"
    pair = _load_pair(path, key_path)
    if pair and pair[0].not_valid_after_utc - now > CERTIFICATE_LIFE:
        return pair
    key = ec.generate_private_key(ec.SECP256R1())
    authority = _make_authority(key, names, now=now)
    _write(key_path, _key_bytes(key))
    _write(path, authority.public_bytes(serialization.Encoding.PEM))
    return authority, key


def _make_authority(key: EllipticCurvePrivateKey, names: Names, *, now: datetime) -> x509.Certificate:
    own = [network for a in names.addresses if not _is_private(a) for network in [IPv4Network(a)]]
    permitted: list[x509.GeneralName] = [x509.IPAddress(network) for network in (*PRIVATE, *own)]
    permitted += [x509.DNSName(name) for name in (*LOCAL_DOMAINS, *names.hosts)]
    usage = {"digital_signature": False, "content_commitment": False, "key_encipherment": False}
    usage |= {"data_encipherment": False, "key_agreement": False, "encipher_only": False, "decipher_only": False}
    title = f"Bareframe workshop authority, {names.hosts[-1] if names.hosts else 'this machine'} {now:%Y-%m-%d}"
    return (
        _builder(title, title, now=now, life=AUTHORITY_LIFE, key=key)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(x509.KeyUsage(key_cert_sign=True, crl_sign=True, **usage), critical=True)
        .add_extension(x509.NameConstraints(permitted_subtrees=permitted, excluded_subtrees=None), critical=True)
        .sign(key, hashes.SHA256())
    )


def _sign(
    authority: x509.Certificate,
    authority_key: EllipticCurvePrivateKey,
    key: EllipticCurvePrivateKey,
    names: Names,
    *,
    now: datetime,
) -> x509.Certificate:
    own_key_id = x509.AuthorityKeyIdentifier.from_issuer_public_key(authority_key.public_key())
    return (
        _builder(_common_name(authority), "Bareframe", now=now, life=CERTIFICATE_LIFE, key=key)
        .add_extension(x509.SubjectAlternativeName(_general_names(names)), critical=False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(own_key_id, critical=False)
        .sign(authority_key, hashes.SHA256())
    )


def _builder(
    issuer: str, subject: str, *, now: datetime, life: timedelta, key: EllipticCurvePrivateKey
) -> x509.CertificateBuilder:
    return (
        x509.CertificateBuilder()
        .issuer_name(_name(issuer))
        .subject_name(_name(subject))
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - CLOCK_SKEW)
        .not_valid_after(now + life)
        .public_key(key.public_key())
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
    )


def _load_pair(path: Path, key_path: Path) -> tuple[x509.Certificate, EllipticCurvePrivateKey] | None:
    """Certificate and key, if both are there and belong together: a start may have been cut short between them."""
    if not (path.exists() and key_path.exists()):
        return None
    certificate = x509.load_pem_x509_certificate(path.read_bytes())
    key = serialization.load_pem_private_key(key_path.read_bytes(), password=None)
    if not isinstance(key, EllipticCurvePrivateKey) or key.public_key() != certificate.public_key():
        return None
    return certificate, key


def _still_good(certificate: x509.Certificate, authority: x509.Certificate, names: Names, *, now: datetime) -> bool:
    said = certificate.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    try:
        certificate.verify_directly_issued_by(authority)
    except (InvalidSignature, ValueError):  # another authority signed it
        return False
    return set(said) == set(_general_names(names)) and certificate.not_valid_after_utc - now > RENEW_BEFORE


def _general_names(names: Names) -> list[x509.GeneralName]:
    loopback = IPv4Address("127.0.0.1")
    addresses: Iterable[IPv4Address] = dict.fromkeys([*names.addresses, loopback])
    return [*map(x509.IPAddress, addresses), *map(x509.DNSName, names.hosts)]


def _allowed(authority: x509.Certificate, names: Names) -> Names:
    """Leave out what the authority may not vouch for: one name too many would spoil the whole certificate."""
    limits = authority.extensions.get_extension_for_class(x509.NameConstraints).value.permitted_subtrees or []
    networks = [limit.value for limit in limits if isinstance(limit, x509.IPAddress)]
    domains = [limit.value for limit in limits if isinstance(limit, x509.DNSName)]
    return Names(
        hosts=tuple(h for h in names.hosts if any(h == d or h.endswith(f".{d}") for d in domains)),
        addresses=tuple(a for a in names.addresses if any(isinstance(n, IPv4Network) and a in n for n in networks)),
    )


def _is_private(address: IPv4Address) -> bool:
    return any(address in network for network in PRIVATE)


def _name(text: str) -> x509.Name:
    return x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, text[:64])])


def _common_name(certificate: x509.Certificate) -> str:
    return str(certificate.subject.get_attributes_for_oid(NameOID.COMMON_NAME)[0].value)


def _key_bytes(key: EllipticCurvePrivateKey) -> bytes:
    return key.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )


def _write(path: Path, content: bytes) -> None:
    """All or nothing, readable by this account only."""
    unfinished = path.with_name(f"{path.name}.new")
    unfinished.unlink(missing_ok=True)
    with os.fdopen(os.open(unfinished, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())
    unfinished.replace(path)
