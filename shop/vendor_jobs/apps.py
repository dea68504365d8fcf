from django.apps import AppConfig


class VendorJobsConfig(AppConfig):
    name = "shop.vendor_jobs"
    label = "vendor_jobs"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from shop.outbox import menders
        from shop.vendor_jobs.reminding import watching

        menders.register(watching.mend)
