"""Celery: hints when scaled out. The truth about background jobs is in ``shop.outbox``."""

import os

from celery import Celery
from kombu.transport import TRANSPORT_ALIASES

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shop.settings")

TRANSPORT_ALIASES |= dict.fromkeys(("redis", "rediss"), "shop.broker:Transport")

app = Celery("bareframe")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()
