from typing import Any

from django.core.management.base import BaseCommand
from django.utils import timezone

from shop import currency
from shop.journal.services import SYSTEM
from shop.people.services import say_currency
from shop.rates.loading import anything_there, load_starter


class Command(BaseCommand):
    help = "Load a first set of methods, finishes, bike templates and guessed rates into a shop that has none."

    def handle(self, *_: Any, **__: Any) -> None:
        if anything_there():
            self.stdout.write("This shop has methods already: nothing was loaded.")
            return
        now = timezone.now()
        say_currency(code=currency.code(), who=SYSTEM, now=now)
        load_starter(guessed=True, today=timezone.localdate(now), who=SYSTEM, now=now)
        self.stdout.write("A first set of methods is loaded. Its rates are guesses: note your own before you quote.")
