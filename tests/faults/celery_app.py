"""``celery -A tests.faults.celery_app``: the shop's own Celery with the handler and the short lease of a kill run."""

import os

import django

django.setup()

from shop.celery import app  # noqa: E402  (Django first: the roles need its models)
from tests.faults import roles  # noqa: E402

roles.prepare(control=os.environ.get("FAULT_CONTROL") == "1")

__all__ = ["app"]
