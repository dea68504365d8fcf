import uuid

from django.db import models
from django.utils.translation import gettext_lazy as _


class Entry(models.Model):
    """Who changed what, when, from what, to what. Written once, inside the transaction of the change itself."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    at = models.DateTimeField(_("when"))
    who = models.CharField(_("who"), max_length=150)
    what = models.CharField(_("what"), max_length=100)
    subject_type = models.CharField(max_length=60)
    subject_uid = models.UUIDField()
    subject_label = models.CharField(_("of what"), max_length=200)
    before = models.TextField(_("before"))
    after = models.TextField(_("after"))
    reference = models.CharField(max_length=100, blank=True)

    class Meta:
        ordering = ["id"]
        indexes = [
            models.Index(fields=["subject_type", "subject_uid", "id"], name="journal_entry_of_subject"),
            models.Index(fields=["reference", "id"], name="journal_entry_of_reference"),
        ]
        constraints = [
            models.CheckConstraint(condition=~models.Q(who=""), name="journal_entry_says_who"),
            models.CheckConstraint(condition=~models.Q(what=""), name="journal_entry_says_what"),
        ]

    def __str__(self) -> str:
        return f"{self.who}: {self.what}, {self.subject_label}"


class Unsealed(models.Model):
    """An entry that waits for its link. Kept apart: finding what waits costs the same however long the past is."""

    entry = models.OneToOneField(Entry, on_delete=models.PROTECT, primary_key=True, related_name="unsealed")

    def __str__(self) -> str:
        return str(self.entry_id)


class Link(models.Model):
    """An entry's place in the chain; ``hash`` covers the link before, the entry, the place and the moment."""

    position = models.PositiveBigIntegerField(primary_key=True)
    entry = models.OneToOneField(Entry, on_delete=models.PROTECT, related_name="link")
    sealed_at = models.DateTimeField()
    hash = models.CharField(max_length=64)

    class Meta:
        ordering = ["position"]
        constraints = [
            models.CheckConstraint(condition=models.Q(position__gte=1), name="journal_link_counts_from_one"),
        ]

    def __str__(self) -> str:
        return f"{self.position}:{self.hash}"
