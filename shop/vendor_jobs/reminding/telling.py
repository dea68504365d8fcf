"""One digest by e-mail for each person and day, in the morning; composed when it is sent, of what is open then.

Interrupted while it was going out, it is for a person to decide, as all mail. Missed for a day, the next one tells the same.
"""

from collections.abc import Sequence
from datetime import date, datetime

from django.conf import settings
from django.db import transaction
from django.utils import timezone, translation
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from shop.outbox import mail
from shop.outbox.handlers import Delivery, NotSentError
from shop.outbox.selectors import asked_for
from shop.outbox.services import publish
from shop.people.models import Shop, User
from shop.vendor_jobs.models import Kind, Quiet, Reminder
from shop.vendor_jobs.reminding import words
from shop.vendor_jobs.reminding.rules import quiet
from shop.vendor_jobs.reminding.selectors import audience, highest, open_reminders

HANDLER = "digest of reminders"
#: The most pressing first; each is a paragraph of the mail.
ORDER = (
    Kind.OVERDUE,
    Kind.DUE_TODAY,
    Kind.MUST_LEAVE,
    Kind.CLOSED_DAY,
    Kind.DUE_SOON,
    Kind.ORDER_LATE,
    Kind.CUSTOMERS_PART,
    Kind.CORE,
    Kind.CHARGE,
    Kind.MAY_LEAVE,
)
#: So many lines of one kind; the page has them all.
SHOWN = 40


def may_tell(said: Quiet, now: datetime) -> bool:
    """Whether this is a day and an hour, on the shop's own clock, at which people are told."""
    local = timezone.localtime(now)
    return str(local.isoweekday()) not in said.days and said.morning <= local.time() < said.evening


def digest_key(person: User, day: date) -> str:
    return f"digest/{person.uid}/{day}"


def mend(*, now: datetime) -> None:
    """Ask for this morning's digests that nobody asked for yet. Three queries where all were."""
    if not mail.configured():
        return
    said = quiet()
    if not said.digest or not may_tell(said, now):
        return
    day = timezone.localdate(now)
    wanted = {digest_key(person, day): person for person, _roles in audience().values()}
    asked = asked_for(HANDLER, list(wanted))
    missing = {key: person for key, person in wanted.items() if key not in asked}
    if missing:
        with transaction.atomic():
            for key, person in missing.items():
                payload = {"person": person.pk, "day": day.isoformat()}
                publish(key=key, handler=HANDLER, payload=payload, due_at=now, now=now)


def prepare(delivery: Delivery) -> mail.Letter | None:
    """The digest as things stand now; None where nothing is open, its day is over, or the person is told nothing any more."""
    today = timezone.localdate(delivery.now)
    person, roles = audience().get(int(delivery.payload["person"]), (None, frozenset[str]()))
    if person is None or today.isoformat() != delivery.payload["day"]:
        return None
    rows = highest(list(open_reminders(roles=roles, today=today)))
    if not rows:
        return None
    if not mail.configured():
        raise NotSentError(_("No mail server is set up."))
    shop = Shop.objects.first()
    with translation.override(settings.LANGUAGE_CODE):
        subject = ngettext("%(count)d reminder for %(day)s", "%(count)d reminders for %(day)s", len(rows))
        told = {"count": len(rows), "day": date_format(today, "DATE_FORMAT")}
        return mail.Letter(
            to=person.email,
            subject=subject % told,
            text=text(rows, today),
            sender_name=shop.name if shop else "",
        )


def text(rows: Sequence[Reminder], today: date) -> str:
    """The mail: a paragraph for each kind, the most pressing first."""
    paragraphs = []
    for kind in ORDER:
        of_kind = [row for row in rows if row.kind == kind]
        if of_kind:
            lines = [f"- {words.sentence(row, today)}" for row in of_kind[:SHOWN]]
            more = len(of_kind) - SHOWN
            if more > 0:
                lines.append(ngettext("- and %(count)d more", "- and %(count)d more", more) % {"count": more})
            label = str(kind.label)
            paragraphs.append("\n".join([label[:1].upper() + label[1:], *lines]))
    if settings.ADDRESS:
        paragraphs.append(_("All of them: %(address)s") % {"address": f"{settings.ADDRESS}/"})
    return "\n\n".join(paragraphs) + "\n"


def send(delivery: Delivery) -> None:
    """Send what was prepared, once; nothing where there was nothing to tell."""
    letter = delivery.prepared
    if isinstance(letter, mail.Letter):
        mail.send(
            to=letter.to,
            write=lambda: mail.compose(letter, key=delivery.key, now=delivery.now),
            going_out=delivery.going_out,
        )
