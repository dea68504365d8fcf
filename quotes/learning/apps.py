from django.apps import AppConfig
from django.utils.translation import gettext_lazy as _


class LearningConfig(AppConfig):
    name = "quotes.learning"
    label = "learning"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from quotes.learning import studying
        from shop.outbox import handlers

        handlers.register(
            studying.HANDLER,
            studying.keep,
            handlers.HERE,
            prepare=studying.prepare,
            label=_("learning from what happened"),
        )
