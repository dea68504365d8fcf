import argparse
import re
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from shop.journal import selectors, verify
from shop.journal.selectors import Head


def _head(text: str) -> Head:
    if not (match := re.fullmatch(r"(\d+):([0-9a-f]{64})", text)):
        raise argparse.ArgumentTypeError("give a head as POSITION:HASH, as printed on an issued quote")
    return Head(int(match[1]), match[2])


class Command(BaseCommand):
    help = "Recompute the journal's chain and name the first row that does not fit."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--head",
            action="append",
            default=[],
            type=_head,
            metavar="POSITION:HASH",
            help="an end of the chain that you have in writing; may be given more than once",
        )

    def handle(self, *, head: list[Head], **_options: Any) -> None:
        if fault := verify.first_fault(*head):
            raise CommandError(fault)
        self.stdout.write(f"The journal is whole up to {selectors.head()}")
