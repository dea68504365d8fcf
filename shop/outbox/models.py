import uuid

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

PENDING, LEASED, SENDING, DONE, DEAD, UNKNOWN = "pending", "leased", "sending", "done", "dead", "unknown"
RUNNING = [LEASED, SENDING]
HEARTBEAT = "sweep"


class State(models.TextChoices):
    PENDING = PENDING, _("waiting")
    LEASED = LEASED, _("being prepared")
    SENDING = SENDING, _("going out")
    DONE = DONE, _("done")
    DEAD = DEAD, _("given up")
    UNKNOWN = UNKNOWN, _("unknown whether it went out")


class Row(models.Model):
    """One effect that somebody is owed: a row first, a message second."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    key = models.CharField(max_length=200)
    handler = models.CharField(max_length=100)
    payload = models.TextField()
    due_at = models.DateTimeField(_("due"))
    state = models.CharField(_("state"), max_length=10, choices=State, default=State.PENDING)
    lease_until = models.DateTimeField(null=True, blank=True)
    leased_by = models.CharField(max_length=100, blank=True)
    hinted_until = models.DateTimeField(null=True, blank=True)
    attempts = models.PositiveIntegerField(_("attempts"), default=0)
    last_error = models.TextField(_("last error"), blank=True)
    created_at = models.DateTimeField(_("asked for"))
    done_at = models.DateTimeField(_("done"), null=True, blank=True)

    class Meta:
        ordering = ["due_at", "id"]
        permissions = [("retry_row", "Can have a background job tried again")]
        indexes = [
            models.Index(fields=["due_at"], condition=Q(state=PENDING), name="outbox_row_waiting"),
            models.Index(fields=["lease_until"], condition=Q(state__in=RUNNING), name="outbox_row_running"),
            models.Index(fields=["state"], condition=Q(state__in=[DEAD, UNKNOWN]), name="outbox_row_stuck"),
        ]
        constraints = [
            models.UniqueConstraint(fields=["key", "handler"], name="outbox_row_once_per_key_and_handler"),
            models.CheckConstraint(condition=Q(state__in=State.values), name="outbox_row_state_is_known"),
            models.CheckConstraint(condition=~Q(key=""), name="outbox_row_has_a_key"),
            models.CheckConstraint(
                condition=Q(state__in=RUNNING, lease_until__isnull=False) & ~Q(leased_by="")
                | ~Q(state__in=RUNNING) & Q(lease_until__isnull=True),
                name="outbox_row_is_leased_while_it_runs",
            ),
            models.CheckConstraint(
                condition=Q(state=DONE, done_at__isnull=False) | ~Q(state=DONE) & Q(done_at__isnull=True),
                name="outbox_row_says_when_it_was_done",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.handler}: {self.key}"


class Heartbeat(models.Model):
    """When the sweep last came by, so that a page can say so."""

    name = models.CharField(max_length=40, primary_key=True)
    at = models.DateTimeField()
    by = models.CharField(max_length=100)
    trouble = models.TextField(blank=True)

    def __str__(self) -> str:
        return f"{self.name}: {self.at:%Y-%m-%d %H:%M:%S}"
