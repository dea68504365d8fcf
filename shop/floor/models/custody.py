"""Where every bag and part is: tags wired to them, and the shelves and people they went to."""

import uuid

from django.conf import settings
from django.db import models
from django.db.models import CheckConstraint, Q
from django.utils.translation import gettext_lazy as _

from shop.methods.models import Named
from shop.restorations.models import Part, Restoration


class Shelf(Named):
    """A place where things wait: a shelf, a bin, a hook, a pallet."""


class Tag(models.Model):
    """A tag on a part or a bag. ``code`` is printed on it and is in its QR; a tag that came off for good has ended."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    code = models.CharField(_("number on the tag"), max_length=12, unique=True)
    restoration = models.ForeignKey(Restoration, models.PROTECT, related_name="tags")
    part = models.ForeignKey(Part, models.PROTECT, null=True, blank=True, related_name="tags", verbose_name=_("part"))
    what = models.CharField(_("what it is on"), max_length=120, blank=True)
    pieces = models.PositiveIntegerField(_("pieces"), null=True, blank=True)
    made_by = models.CharField(max_length=150)
    made_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, editable=False)

    class Meta:
        ordering = ["restoration", "code"]
        constraints = [
            CheckConstraint(
                condition=Q(part__isnull=False) | ~Q(what=""),
                name="tag_is_on_something",
                violation_error_message=_("Choose a part, or say what the tag is on."),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.code} {self.what or self.part}"


class Move(models.Model):
    """A tag came to a shelf, or to somebody. The newest row says where it is. Never changed."""

    tag = models.ForeignKey(Tag, models.PROTECT, related_name="moves")
    shelf = models.ForeignKey(
        Shelf, models.PROTECT, null=True, blank=True, related_name="moves", verbose_name=_("shelf")
    )
    at_whom = models.CharField(_("with whom, or where else"), max_length=120, blank=True)
    person = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")
    who = models.CharField(max_length=150)
    at = models.DateTimeField()

    class Meta:
        ordering = ["tag", "at", "pk"]
        constraints = [
            CheckConstraint(
                condition=Q(shelf__isnull=False, at_whom="") | (Q(shelf__isnull=True) & ~Q(at_whom="")),
                name="move_says_where_once",
                violation_error_message=_("Choose a shelf, or say where else it is."),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.tag}: {self.shelf or self.at_whom}"
