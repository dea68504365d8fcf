from typing import Any

from django.apps import AppConfig
from django.utils.translation import gettext_lazy as _


class PricingConfig(AppConfig):
    name = "quotes.pricing"
    label = "pricing"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from quotes.pricing import daily_plans, paper
        from quotes.pricing.customers import mailing
        from quotes.pricing.money import funded
        from shop.outbox import handlers, menders
        from shop.outbox.signals import background_starts
        from shop.routes import funding

        handlers.register(
            paper.PDF_HANDLER, paper.keep, handlers.HERE, prepare=paper.prepare, label=_("PDF of a quote")
        )
        handlers.register(
            mailing.MAIL_HANDLER,
            mailing.send,
            handlers.OUTSIDE,
            prepare=mailing.prepare,
            label=_("mail to a customer"),
        )
        handlers.register(
            daily_plans.PLAN_HANDLER,
            daily_plans.keep,
            handlers.HERE,
            prepare=daily_plans.prepare,
            label=_("plan of a bike"),
        )
        menders.register(paper.mend)
        menders.register(daily_plans.mend)
        menders.register(funded.mend)
        funding.register(write=funded.write, price=funded.prices)
        background_starts.connect(_preload, dispatch_uid="pricing.preload")


def _preload(**_: Any) -> None:
    from shop.papers import pdf

    pdf.preload()
