"""What a form sends twice is kept once: the form carries the uid of the row it makes."""

from typing import TypeVar
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import IntegrityError, models, transaction
from django.utils.translation import gettext as _

from shop.restorations.models import Restoration

Row = TypeVar("Row", bound=models.Model)


def kept_before(model: type[Row], uid: UUID | None, restoration: Restoration) -> Row | None:
    """The row that the same form made for ``restoration`` before."""
    return model._default_manager.filter(uid=uid, restoration=restoration).first() if uid else None


def keep(row: Row, uid: UUID | None, restoration: Restoration) -> tuple[Row, bool]:
    """``row`` under ``uid`` and whether it is new; where another took that uid meanwhile, the one that is there.

    A uid that belongs to another restoration is not ours to use: the row takes one of its own.
    """
    taken = uid is None or type(row)._default_manager.filter(uid=uid).exclude(restoration=restoration).exists()
    if not taken:
        row.uid = uid  # type: ignore[attr-defined]  # each of these models has one
    try:
        with transaction.atomic():
            row.save(force_insert=True)
    except IntegrityError:
        if (there := kept_before(type(row), uid, restoration)) is None:
            raise
        return there, False
    return row, True


def refuse_longer(model: type[models.Model], field: str, text: str) -> None:
    """A long text's limit is the form's alone to Django; here it is everybody's."""
    longest = getattr(model._meta.get_field(field), "max_length", None)
    if longest is not None and len(text) > longest:
        said = _("Give %(limit_value)d letters at most.") % {"limit_value": longest}
        raise ValidationError({field: said})
