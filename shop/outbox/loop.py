"""Without a broker: one process that sweeps and runs what is due, one row after the other."""

import logging
import signal
import time
from types import FrameType

from django.db import close_old_connections, connections

from shop.outbox import tasks
from shop.outbox.signals import background_starts

log = logging.getLogger("bareframe.outbox")


class Loop:
    """Runs until SIGTERM, SIGINT or SIGHUP; the row that is running then is finished first."""

    def __init__(self) -> None:
        self._stopping = False

    def run(self) -> None:
        for number in (signal.SIGTERM, signal.SIGINT, signal.SIGHUP):
            signal.signal(number, self._stop)
        background_starts.send(sender=None)
        while not self._stopping:
            if not self._round():
                time.sleep(tasks.SWEEP_EVERY)

    def _stop(self, _number: int, _frame: FrameType | None) -> None:
        self._stopping = True

    def _round(self) -> bool:
        """One sweep and what it found; whether it found anything. What fails is left to the next round."""
        try:
            due = tasks.sweep.apply(throw=True).get()
            for row_id in due:
                if self._stopping:
                    break
                tasks.deliver.apply(args=(row_id,), throw=True)
        except Exception:
            log.exception("A round of background jobs broke off.")
            connections.close_all()
            return False
        close_old_connections()
        return bool(due)
