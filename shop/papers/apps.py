from django.apps import AppConfig


class PapersConfig(AppConfig):
    name = "shop.papers"
    label = "papers"
    default_auto_field = "django.db.models.BigAutoField"
