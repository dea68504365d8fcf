from django.apps import AppConfig


class DeskConfig(AppConfig):
    name = "quotes.desk"
    label = "desk"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from quotes.desk import uploads
        from shop.outbox import menders

        menders.register(uploads.sweep)
