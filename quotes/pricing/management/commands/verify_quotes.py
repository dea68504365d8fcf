from typing import Any

from django.core.management.base import BaseCommand, CommandError

from quotes.pricing.models import IssuedQuote
from quotes.pricing.verify import verify


class Command(BaseCommand):
    help = "Recompute every issued quote from its frozen inputs and compare, to the last minor unit."

    def handle(self, *_args: Any, **_options: Any) -> None:
        quotes = (
            IssuedQuote.objects.select_related("paper__document").prefetch_related("lines", "steps").order_by("number")
        )
        found = count = 0
        for quote in quotes.iterator(chunk_size=50):
            count += 1
            for finding in verify(quote):
                found += 1
                self.stderr.write(f"{finding.quote}: {finding.what}")
        if found:
            raise CommandError(f"{found} findings in {count} issued quotes.")
        self.stdout.write(f"{count} issued quotes recomputed: every figure is as it was issued.")
