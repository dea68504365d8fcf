from django.apps import AppConfig


class FloorConfig(AppConfig):
    name = "shop.floor"
    label = "floor"
    default_auto_field = "django.db.models.BigAutoField"
