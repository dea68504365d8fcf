from django.apps import AppConfig


class RestorationsConfig(AppConfig):
    name = "shop.restorations"
    label = "restorations"
    default_auto_field = "django.db.models.BigAutoField"
