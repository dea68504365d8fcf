"""Serving the local network: certificates, the names served, and the page that helps a device trust them."""

import os
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from django.conf import settings
from django.template.loader import render_to_string

from shop import tls


@dataclass(frozen=True)
class Lan:
    names: tls.Names
    certificates: tls.Certificates
    page: Path

    @property
    def environment(self) -> dict[str, str]:
        """``localhost`` is left out: a browser told to use HTTPS there would do so for every other program too."""
        asked = os.environ.get("BAREFRAME_HOSTS", "").split(",")
        hosts = [*map(str, self.names.addresses), *self.names.hosts, "127.0.0.1", *filter(None, asked)]
        return {"BAREFRAME_HTTPS": "1", "BAREFRAME_HOSTS": ",".join(dict.fromkeys(hosts))}


def prepare(*, port: int, now: datetime) -> Lan:
    names = tls.local_names()
    certificates = tls.ensure(settings.HOME / "tls", names, now=now)
    page = settings.HOME / "tls" / "page"
    _write_page(page, names, certificates, port=port)
    return Lan(names, certificates, page)


def addresses(names: tls.Names, *, port: int) -> Iterator[str]:
    for name in (*names.addresses, *names.hosts):
        yield f"https://{name}:{port}/"


def grouped(fingerprint: str) -> list[str]:
    """The fingerprint in rows short enough to compare by eye."""
    pairs = fingerprint.split(":")
    return [" ".join(pairs[start : start + 4]) for start in range(0, len(pairs), 4)]


def _write_page(folder: Path, names: tls.Names, certificates: tls.Certificates, *, port: int) -> None:
    folder.mkdir(mode=0o700, exist_ok=True)
    context = {
        "fingerprint": grouped(certificates.fingerprint),
        "addresses": list(addresses(names, port=port)),
    }
    _replace(folder / "index.html", render_to_string("trust/page.html", context).encode())
    _replace(folder / "trust.css", render_to_string("trust/trust.css").encode())
    _replace(folder / "bareframe.crt", certificates.authority.read_bytes())


def _replace(path: Path, content: bytes) -> None:
    unfinished = path.with_name(f"{path.name}.new")
    unfinished.write_bytes(content)
    unfinished.replace(path)
