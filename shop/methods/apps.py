from django.apps import AppConfig


class MethodsConfig(AppConfig):
    name = "shop.methods"
    label = "methods"
    default_auto_field = "django.db.models.BigAutoField"
