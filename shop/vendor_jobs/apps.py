from django.apps import AppConfig
from django.utils.translation import gettext_lazy as _


class VendorJobsConfig(AppConfig):
    name = "shop.vendor_jobs"
    label = "vendor_jobs"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from shop.outbox import handlers, menders
        from shop.vendor_jobs.reminding import asking, telling, watching

        handlers.register(
            telling.HANDLER,
            telling.send,
            handlers.OUTSIDE,
            prepare=telling.prepare,
            label=_("digest of reminders"),
        )
        handlers.register(
            asking.HANDLER, telling.send, handlers.OUTSIDE, prepare=asking.prepare, label=_("question to a vendor")
        )
        menders.register(watching.mend)
