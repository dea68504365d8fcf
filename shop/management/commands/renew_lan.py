import json
from argparse import ArgumentParser
from datetime import UTC, datetime
from typing import Any

from django.core.management.base import BaseCommand

from shop.management import children, lan
from shop.supervisor import as_plain


class Command(BaseCommand):
    help = "Renew the local network's certificate if it must be; prints the processes that need it, for `up`."
    requires_system_checks = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--port", type=int, required=True)

    def handle(self, *, port: int, **_: Any) -> None:
        """A new address of this machine, or a certificate near its end, needs a new web process."""
        now = lan.prepare(port=port, now=datetime.now(UTC))
        served = [children.web(host="0.0.0.0", port=port, lan=now)] if now.certificates.renewed else []  # noqa: S104
        self.stdout.write(json.dumps(list(map(as_plain, served))))
