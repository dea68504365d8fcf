"""Mail to a customer: a row that says what the shop sends, and the background job that sends it with a link.

The secret of a link is never at rest. So it is made while the mail is being sent, when the server has agreed to take it:
of a mail that certainly never left, the link is closed again, and the next try makes another. Of one that may have left,
the link stays open, since the customer may hold it.
"""

import uuid
from dataclasses import replace
from datetime import datetime
from email.message import EmailMessage

from django.conf import settings
from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone, translation
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from quotes.pricing.customers import links
from quotes.pricing.models import IssuedQuote, Link, Mailed
from shop.journal.services import record, subject_of
from shop.outbox import mail
from shop.outbox.handlers import Delivery, NotSentError
from shop.outbox.models import Row
from shop.outbox.services import publish
from shop.papers.selectors import content
from shop.people.models import Shop
from shop.restorations.models import Restoration

MAIL_HANDLER = "mail to a customer"


@transaction.atomic
def ask(
    *,
    once: uuid.UUID,
    kind: Mailed.Kind,
    restoration: Restoration,
    quote: IssuedQuote | None = None,
    address: str,
    subject: str,
    text: str,
    base: str,
    who: str,
    now: datetime,
) -> Mailed:
    """Have a mail sent, with a link to the quote or else to the restoration. The same ``once`` again is the same mail.

    ``base`` is what the link begins with: scheme and host. Mail about a quote carries its PDF.
    """
    sent = Mailed.objects.filter(uid=once).first()
    if sent is not None:
        return sent
    mailed = Mailed(
        uid=once,
        kind=kind,
        restoration=restoration,
        quote=quote,
        address=address,
        subject=subject.strip(),
        text=text.strip(),
        at=now,
        who=who,
        job_key=f"mail/{once}",
    )
    mailed.full_clean(exclude=["quote"])
    _refuse_breaks(mailed)
    mailed.save(force_insert=True)
    payload = {"mailed": mailed.pk, "base": base}
    publish(key=mailed.job_key, handler=MAIL_HANDLER, payload=payload, due_at=now, now=now)
    record(
        who=who,
        at=now,
        what="mail asked for",
        subject=subject_of(quote or restoration),
        after={"to": mailed.address, "subject": mailed.subject},
    )
    return mailed


def _refuse_breaks(mailed: Mailed) -> None:
    wrong = {}
    for field in ("address", "subject"):
        try:
            mail.one_line(getattr(mailed, field))
        except ValidationError as error:
            wrong[field] = error.messages
    if wrong:
        raise ValidationError(wrong)


def prepare(delivery: Delivery) -> mail.Letter:
    """What can be said before the link exists. Nothing is sent before the PDF is there."""
    mailed = Mailed.objects.select_related("restoration", "quote__paper__document").get(pk=delivery.payload["mailed"])
    if not mail.configured():
        raise NotSentError(_("No mail server is set up."))
    shop = Shop.objects.first()
    return mail.Letter(
        to=mailed.address,
        subject=mailed.subject,
        text=mailed.text,
        sender_name=shop.name if shop else "",
        reply_to=shop.email if shop else "",
        attachments=_attachments(mailed),
    )


def _attachments(mailed: Mailed) -> tuple[mail.Attachment, ...]:
    if mailed.quote is None:
        return ()
    kept = getattr(mailed.quote, "paper", None)
    if kept is None:
        raise NotSentError(_("The PDF of the quote is not there yet."))
    document = kept.document
    return (mail.Attachment(document.name, document.media_type, content(document)),)


def send(delivery: Delivery) -> None:
    """Send what was prepared, once, with a link made for this very message."""
    mailed = Mailed.objects.select_related("restoration", "quote").get(pk=delivery.payload["mailed"])
    letter = delivery.prepared
    assert isinstance(letter, mail.Letter)
    made: list[Link] = []

    def write() -> EmailMessage:
        link, secret = _link(mailed, now=delivery.now)
        made.append(link)
        text = f"{letter.text}\n\n{invitation(link, address(str(delivery.payload['base']), secret))}\n"
        return mail.compose(replace(letter, text=text), key=delivery.key, now=delivery.now)

    try:
        mail.send(to=letter.to, write=write, going_out=delivery.going_out)
    except NotSentError:
        for link in made:
            links.revoke(link=link, who=mailed.who, now=delivery.now)
        raise


def _link(mailed: Mailed, *, now: datetime) -> tuple[Link, str]:
    purpose = Link.Purpose.PROGRESS if mailed.quote is None else Link.Purpose.QUOTE
    return links.make(purpose=purpose, restoration=mailed.restoration, quote=mailed.quote, who=mailed.who, now=now)


def invitation(link: Link, where: str) -> str:
    """What stands below the shop's own words, in the shop's language."""
    with translation.override(settings.LANGUAGE_CODE):
        day = date_format(timezone.localdate(link.expires_at), "DATE_FORMAT")
        if link.purpose == Link.Purpose.QUOTE:
            said = _("Read it and answer it on your own page, without an account (open until %(day)s):")
        else:
            said = _("See how your machine is coming along on your own page, without an account (open until %(day)s):")
        care = _("Whoever has this link can read the page and answer in your name, so please do not pass it on.")
        return f"{said % {'day': day}}\n{where}\n\n{care}"


def address(base: str, secret: str) -> str:
    """The address of a link. ``base`` is scheme and host; what the shop has set stands over it."""
    return f"{settings.ADDRESS or base.rstrip('/')}/c/{secret}/"


def jobs(keys: list[str]) -> dict[str, Row]:
    """How far the mail of these keys got, in one query."""
    return {row.key: row for row in Row.objects.filter(handler=MAIL_HANDLER, key__in=keys)}
