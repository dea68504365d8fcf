from django.apps import AppConfig


class MarginConfig(AppConfig):
    name = "quotes.margin"
    label = "margin"
    default_auto_field = "django.db.models.BigAutoField"
