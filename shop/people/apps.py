from typing import Any

from django.apps import AppConfig
from django.contrib.auth.signals import user_logged_in
from django.db.models.signals import post_migrate

from shop import currency


class PeopleConfig(AppConfig):
    name = "shop.people"
    label = "people"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from shop.people import sessions

        post_migrate.connect(_make_roles, sender=self)
        user_logged_in.connect(sessions.begin, dispatch_uid="shop.people.sessions.begin")
        currency.register(_said_currency)


def _make_roles(*, using: str, **_: Any) -> None:
    from shop.people.services import ensure_roles

    ensure_roles(using=using)


def _said_currency() -> str:
    from shop.people.models import Shop

    return Shop.objects.values_list("currency", flat=True).first() or ""
