from django.apps import AppConfig
from django.core.checks import Tags, register
from django.db.backends.signals import connection_created
from django.db.models.signals import post_migrate, pre_migrate

from shop import guards


class JournalConfig(AppConfig):
    name = "shop.journal"
    label = "journal"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        """The guards of *all* rooms hang on the lowest one: migrate signals each room once, this one in any case."""
        pre_migrate.connect(guards.before_migrate, sender=self)
        post_migrate.connect(guards.after_migrate, sender=self)
        connection_created.connect(guards.on_connection)
        register(guards.check_guards, Tags.database)
