import getpass
import sys
from typing import Any

from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError, CommandParser

from shop.people.roles import ROLES
from shop.people.services import add_person


class Command(BaseCommand):
    help = "Add a person who can sign in. The password is asked for, or read as one line from standard input."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("username")
        parser.add_argument("--name", required=True, help="how the person is called on pages and papers")
        parser.add_argument(
            "--role", dest="roles", action="append", choices=ROLES, required=True, help="repeat it for several roles"
        )

    def handle(self, *_: Any, **options: Any) -> None:
        try:
            person = add_person(
                username=options["username"],
                name=options["name"],
                password=_password(),
                roles=options["roles"],
            )
        except ValidationError as error:
            lines = [f"{field}: {text}" for field, texts in error.message_dict.items() for text in texts]
            raise CommandError("\n".join(lines)) from error
        self.stdout.write(f"{person} can sign in as {person.username}.")


def _password() -> str:
    if not sys.stdin.isatty():
        return sys.stdin.readline().rstrip("\n")
    first = getpass.getpass("Password: ")
    if getpass.getpass("Password again: ") != first:
        raise CommandError("The two passwords differ. Start again.")
    return first
