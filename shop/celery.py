"""Celery: hints when scaled out. The truth about background jobs is in ``shop.outbox``."""

import os

from celery import Celery

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shop.settings")

app = Celery("bareframe")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()
