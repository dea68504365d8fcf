from django.apps import AppConfig


class RoutesConfig(AppConfig):
    name = "shop.routes"
    label = "routes"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from shop.outbox import menders
        from shop.routes import tasks

        menders.register(tasks.mend)
