from django.apps import AppConfig
from django.utils.translation import gettext_lazy as _


class DeskConfig(AppConfig):
    name = "quotes.desk"
    label = "desk"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from quotes.desk import review_paper, uploads
        from shop.outbox import handlers, menders

        handlers.register(
            review_paper.PACK_HANDLER,
            review_paper.keep,
            handlers.HERE,
            prepare=review_paper.prepare,
            label=_("PDF of a closed week"),
        )
        menders.register(uploads.sweep)
        menders.register(review_paper.mend)
