from django.apps import AppConfig


class LearningConfig(AppConfig):
    name = "quotes.learning"
    label = "learning"
    default_auto_field = "django.db.models.BigAutoField"
