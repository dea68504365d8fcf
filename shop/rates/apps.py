from django.apps import AppConfig


class RatesConfig(AppConfig):
    name = "shop.rates"
    label = "rates"
    default_auto_field = "django.db.models.BigAutoField"
