from django.apps import AppConfig


class RoutesConfig(AppConfig):
    name = "shop.routes"
    label = "routes"
    default_auto_field = "django.db.models.BigAutoField"
