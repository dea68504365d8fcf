from datetime import date
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from quotes.learning.history.bikes import WHO
from quotes.learning.history.making import make
from quotes.pricing.models import IssuedQuote
from shop.rates.loading import anything_there


class Command(BaseCommand):
    help = "Make plausible past years of an invented workshop, with a truth that is known, into a shop for trying things out."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--years", type=int, default=3, help="how many years up to today")
        parser.add_argument("--seed", type=int, default=7, help="the same seed makes the same years")
        parser.add_argument("--until", type=date.fromisoformat, help="the day on which made history ends, else today")

    def handle(self, *_args: Any, **options: Any) -> None:
        if not 1 <= options["years"] <= 20:
            raise CommandError("Give 1 to 20 years.")
        if not anything_there():
            raise CommandError("This shop has no methods yet. Load the example workshop first: manage.py demo")
        if IssuedQuote.objects.filter(issued_by=WHO).exists():
            raise CommandError("This shop has made history already. It is made once.")
        today = options["until"] or timezone.localdate()
        made = make(years=options["years"], seed=options["seed"], today=today, say=self.stdout.write)
        self.stdout.write(
            f"Made history since {made.first}: {made.asked} quotes, {made.accepted} accepted, {made.finished} bikes finished."
            " None of it happened; its truth stands in fixtures/history.toml."
        )
