"""Telling a customer by e-mail that something new stands on their page: the words of the desk, and a link."""

import uuid
from datetime import datetime

from django.conf import settings
from django.core.exceptions import ValidationError
from django.utils import translation
from django.utils.text import Truncator
from django.utils.translation import gettext as _

from quotes.pricing.customers import mailing
from quotes.pricing.models import Mailed, Message, Shared
from shop.outbox import mail
from shop.people.models import Shop
from shop.restorations.models import Restoration

#: Longer answers are read on the page.
LONGEST = 3_000


def cannot(restoration: Restoration) -> str:
    """Why this customer cannot be told by e-mail; empty where they can."""
    if not mail.configured():
        return _("No mail server is set up, so nobody can be told by e-mail.")
    if not restoration.customer.email:
        return _("No e-mail address of this customer is noted.")
    return ""


def of_news(shared: Shared, *, base: str, who: str, now: datetime) -> Mailed:
    """Say that something was shared; belongs in the transaction that shares it. Raises ``ValidationError``."""
    with translation.override(settings.LANGUAGE_CODE):
        words = [shared.note] if shared.note else []
        words += [_("There is a photograph on your page.")] if shared.photograph_id else []
        subject = _("News of your %(bike)s")
    return _tell(shared, Mailed.Kind.PROGRESS, subject, words, base=base, who=who, now=now)


def of_answer(answer: Message, *, base: str, who: str, now: datetime) -> Mailed:
    """Say what was answered; belongs in the transaction that answers. Raises ``ValidationError``."""
    with translation.override(settings.LANGUAGE_CODE):
        subject = _("Your question about your %(bike)s")
    return _tell(answer, Mailed.Kind.ANSWER, subject, [answer.text], base=base, who=who, now=now)


def _tell(
    row: Shared | Message, kind: Mailed.Kind, subject: str, words: list[str], *, base: str, who: str, now: datetime
) -> Mailed:
    """Once for one row, whoever asks and how often."""
    restoration = row.restoration
    if reason := cannot(restoration):
        raise ValidationError({"tell": reason})
    return mailing.ask(
        once=uuid.uuid5(row.uid, "told by e-mail"),
        kind=kind,
        restoration=restoration,
        address=restoration.customer.email,
        subject=mail.BREAKS.sub(" ", subject % {"bike": restoration}),
        text=_letter(restoration, words),
        base=base,
        who=who,
        now=now,
    )


def _letter(restoration: Restoration, words: list[str]) -> str:
    shop = Shop.objects.first()
    with translation.override(settings.LANGUAGE_CODE):
        greeting = _("Hello %(name)s,") % {"name": restoration.customer.name}
        parts = [greeting, Truncator("\n\n".join(words)).chars(LONGEST), shop.name if shop else ""]
    return "\n\n".join(part for part in parts if part)
