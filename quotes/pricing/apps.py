from django.apps import AppConfig


class PricingConfig(AppConfig):
    name = "quotes.pricing"
    label = "pricing"
    default_auto_field = "django.db.models.BigAutoField"
