from django.apps import AppConfig


class MarginConfig(AppConfig):
    name = "quotes.margin"
    label = "margin"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from quotes.margin import posting
        from shop.outbox import menders

        menders.register(posting.mend)
