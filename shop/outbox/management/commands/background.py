from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from shop.outbox.loop import Loop


class Command(BaseCommand):
    help = "Run background jobs in this one process, without a broker, until stopped."

    def handle(self, **_options: Any) -> None:
        if not settings.EMBEDDED:
            raise CommandError("BAREFRAME_REDIS is set: background jobs are run by Celery's worker and beat.")
        Loop().run()
