"""Looking at all that happened, as a background job: asked for by the manager, worked out outside any transaction, kept in one."""

from datetime import datetime, timedelta

from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from quotes.engine import canonical
from quotes.learning import suggesting
from quotes.learning.models import Study, Suggestion
from quotes.learning.suggesting import Found
from shop.journal.services import record, subject_of
from shop.outbox.handlers import Delivery
from shop.outbox.services import publish

HANDLER = "learning"
#: After so long nobody waits for a study any more.
TOO_LONG = timedelta(minutes=10)


def under_way() -> Study | None:
    """The study that has not ended."""
    return Study.objects.filter(ended_at__isnull=True, failed="").first()


@transaction.atomic
def ask(*, who: str, now: datetime) -> Study:
    """Ask for a study. Raises `ValidationError` where one is under way; one that never ended is given up."""
    Study.objects.filter(ended_at__isnull=True, failed="", asked_at__lt=now - TOO_LONG).update(
        failed=_("It never ended.")
    )
    try:
        with transaction.atomic():
            study = Study.objects.create(asked_by=who, asked_at=now)
    except IntegrityError:
        raise ValidationError(_("Somebody asked for it already; it is under way.")) from None
    record(who=who, at=now, what="study asked for", subject=subject_of(study), after={"asked": now})
    publish(key=f"study/{study.uid}", handler=HANDLER, payload={"study": study.pk}, due_at=now, now=now)
    return study


def prepare(delivery: Delivery) -> Found | None:
    """Work it out, telling how far it is; None where it ended before."""
    study = Study.objects.get(pk=delivery.payload["study"])
    if study.ended_at is not None or study.failed:
        return None

    def say(step: int) -> None:
        Study.objects.filter(pk=study.pk).update(step=step)

    return suggesting.found(today=timezone.localdate(delivery.now), say=say)


def keep(delivery: Delivery) -> None:
    """Keep what was found."""
    if isinstance(delivery.prepared, Found):
        keep_found(Study.objects.get(pk=delivery.payload["study"]), delivery.prepared, now=delivery.now)


@transaction.atomic
def keep_found(study: Study, found: Found, *, now: datetime) -> None:
    """The study has ended: its suggestions, what they rest on, and the tasks that were left out by name."""
    for one in found.suggestions:
        one.study = study
    Suggestion.objects.bulk_create(found.suggestions)
    study.tasks, study.bikes = found.tasks, found.bikes
    study.outliers = canonical.dump(found.outliers).decode()
    study.step, study.ended_at = study.steps, now
    study.save(update_fields=["tasks", "bikes", "outliers", "step", "ended_at"])
