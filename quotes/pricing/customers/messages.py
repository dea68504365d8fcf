"""What a customer asks on their page, and what the desk answers there. Nothing of it is ever changed."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Exists, OuterRef, QuerySet
from django.utils.translation import gettext as _

from quotes.pricing.customers import once, telling
from quotes.pricing.models import IssuedQuote, Message
from shop.journal.services import record, subject_of
from shop.restorations.models import Restoration

#: How much one customer may ask within a day. A person asks less; whoever has the link could fill the disk.
MOST_IN_A_DAY = 30
DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Asked:
    """A question and its answers, the oldest first."""

    question: Message
    answers: tuple[Message, ...]


def ask(
    *,
    restoration: Restoration,
    quote: IssuedQuote | None = None,
    text: str,
    name: str,
    uid: UUID | None = None,
    who: str,
    now: datetime,
) -> Message:
    """Keep what a customer asked; the same form (``uid``) sent again is the same question. Raises ``ValidationError``.

    ``name`` is who they say they are, ``who`` what the journal names: the link they came by.
    """
    # By key: given the restoration itself, a refused row would hang on it.
    row = Message(restoration_id=restoration.pk, from_customer=True, text=text.strip(), who=name.strip(), at=now)
    row.quote_id = quote.pk if quote else None
    return _keep(row, restoration, uid, "customer asked", who=who)


@transaction.atomic
def answer(
    *, question: Message, text: str, uid: UUID | None = None, tell_at: str = "", who: str, now: datetime
) -> Message:
    """Answer a customer's question, where they read it; ``tell_at`` as in ``sharing.share``. Raises ``ValidationError``."""
    if not question.from_customer:
        raise ValidationError({"text": _("This was said by us. Answer what the customer asked.")})
    row = Message(restoration_id=question.restoration_id, from_customer=False, text=text.strip(), who=who, at=now)
    row.quote_id, row.answers_id = question.quote_id, question.pk
    row = _keep(row, question.restoration, uid, "customer answered", who=who)
    if tell_at:
        telling.of_answer(row, base=tell_at, who=who, now=now)
    return row


@transaction.atomic
def _keep(row: Message, restoration: Restoration, uid: UUID | None, what: str, *, who: str) -> Message:
    if known := once.kept_before(Message, uid, restoration):
        return known
    once.refuse_longer(Message, "text", row.text)
    row.full_clean(exclude={"restoration", "quote", "answers"}, validate_unique=False)
    if row.from_customer:
        _refuse_too_many(restoration, row.at)
    row, is_new = once.keep(row, uid, restoration)
    if is_new:
        after = {"message": row.uid, "name": row.who, "text": row.text}
        after |= {"quote": str(row.quote)} if row.quote else {}
        record(who=who, at=row.at, what=what, subject=subject_of(restoration), after=after)
    return row


def _refuse_too_many(restoration: Restoration, now: datetime) -> None:
    lately = Message.objects.filter(restoration=restoration, from_customer=True, at__gt=now - DAY)
    if lately.count() >= MOST_IN_A_DAY:
        said = _("You have asked as much today as fits here. Telephone us, or write again tomorrow.")
        raise ValidationError({"text": said})


def conversation(restoration: Restoration) -> list[Asked]:
    """Everything asked and answered about a restoration, the newest question first. One query."""
    answers: dict[int, list[Message]] = {}
    questions = []
    for row in Message.objects.filter(restoration=restoration).select_related("quote").order_by("at", "pk"):
        if row.from_customer:
            questions.append(row)
        elif row.answers_id is not None:
            answers.setdefault(row.answers_id, []).append(row)
    return [Asked(row, tuple(answers.get(row.pk, ()))) for row in reversed(questions)]


def unanswered() -> QuerySet[Message]:
    """What customers asked and nobody answered, the longest waiting first."""
    answers = Message.objects.filter(answers=OuterRef("pk"))
    rows = Message.objects.filter(~Exists(answers), from_customer=True)
    return rows.select_related("restoration__customer").order_by("at", "pk")
