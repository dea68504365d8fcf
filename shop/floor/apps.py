from django.apps import AppConfig


class FloorConfig(AppConfig):
    name = "shop.floor"
    label = "floor"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from shop.floor.selectors import on_tasks, with_time
        from shop.routes import presence

        presence.register(on_tasks, with_time)
