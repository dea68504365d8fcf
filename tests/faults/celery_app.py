"""``celery -A tests.faults.celery_app``: the shop's own Celery with the handlers and the short lease of a fault run."""

import os
from datetime import timedelta
from typing import Any

import django
from celery.signals import task_prerun

django.setup()

from shop.celery import app  # noqa: E402  (Django first: the roles need its models)
from tests.faults import roles  # noqa: E402

control = os.environ.get("FAULT_CONTROL", "0")
roles.prepare(
    control=control == "1",
    claim=control != "no claim",
    lease=timedelta(seconds=float(os.environ.get("FAULT_LEASE", roles.LEASE.total_seconds()))),
    mend=os.environ.get("FAULT_MEND", ""),
)
if seconds := os.environ.get("FAULT_VISIBILITY"):
    again = {"visibility_timeout": float(seconds), "unacked_restore_interval": 0.5, "unacked_restore_throttle": 1}
    app.conf.broker_transport_options = app.conf.broker_transport_options | again


@task_prerun.connect
def _note(args: Any = (), **_: Any) -> None:
    if args:
        roles.note_call(args[0])


__all__ = ["app"]
