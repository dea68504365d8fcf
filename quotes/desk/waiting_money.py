"""What waits for the desk about money: late payments, payments to ask for now, and holds that run."""

from collections.abc import Sequence
from datetime import date

from django.db.models import Exists, OuterRef
from django.urls import reverse
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from quotes.desk import money_jobs
from quotes.desk.today import BAD, MIND, SHOWN
from quotes.desk.waiting import Group, Waits
from quotes.pricing.models import Instalment
from quotes.pricing.money import money_in
from shop.restorations.models import Restoration
from shop.text import money


def _asked() -> list[Restoration]:
    """Restorations of which something is due or will be on a day that is known."""
    reached = Instalment.objects.filter(quote__restoration=OuterRef("pk"), reached_on__isnull=False)
    return list(Restoration.objects.select_related("customer", "machine").filter(Exists(reached)))


Standings = dict[int, money_in.Standing]


def payments(day: date) -> tuple[Group, Group]:
    """What is late and what to ask for now, in four queries."""
    rows = _asked()
    standings = money_in.standings(rows, day)
    return _late(rows, standings, day), _to_ask(rows, standings, day)


def _late(rows: Sequence[Restoration], standings: Standings, day: date) -> Group:
    """Payments that should have come in before ``day``, the longest late first."""
    found = [(row, standings[row.pk]) for row in rows if standings[row.pk].late]
    found.sort(key=lambda pair: (pair[1].late_since or day, -pair[1].late, pair[0].pk))
    return Group(
        name="late",
        title=_("Payments that are late"),
        about=_("Ask the customer. Nothing goes out for these bikes until it is in."),
        rows=[
            Waits(row, _late_text(standing), reverse("desk:money", args=[row.uid]), _since(standing, day), BAD)
            for row, standing in found[:SHOWN]
        ],
    )


def _late_text(standing: money_in.Standing) -> str:
    return _("%(late)s is late") % {"late": money(standing.late, standing.currency)}


def _since(standing: money_in.Standing, day: date) -> str:
    days = (day - (standing.late_since or day)).days
    return ngettext("for %(days)s day", "for %(days)s days", days) % {"days": days}


def _to_ask(rows: Sequence[Restoration], standings: Standings, day: date) -> Group:
    """Payments whose event is reached and that are not late yet: now is the time to ask."""
    found = [
        (row, payment, standings[row.pk].currency)
        for row in rows
        for payment in standings[row.pk].payments
        if payment.due_on is not None and payment.due_on >= day and payment.open
    ]
    found.sort(key=lambda item: (item[1].due_on or day, item[0].pk))
    return Group(
        name="to-ask",
        title=_("Payments to ask for"),
        about=_("Their event is reached. Ask now, so that they are in by the day."),
        rows=[
            Waits(row, _ask_text(payment, currency), reverse("desk:money", args=[row.uid]), _by(payment), MIND)
            for row, payment, currency in found[:SHOWN]
        ],
    )


def _ask_text(payment: money_in.Payment, currency: str) -> str:
    return _("%(name)s: %(amount)s") % {"name": payment.name, "amount": money(payment.open, currency)}


def _by(payment: money_in.Payment) -> str:
    if payment.is_due or payment.due_on is None:
        return _("due today")
    return _("due on %(day)s") % {"day": date_format(payment.due_on)}


def held(day: date) -> Group:
    """Holds that run, the longest first."""
    return Group(
        name="held",
        title=_("Bikes that are held"),
        about=_("Nothing is done on these. Let go what has been settled."),
        rows=[
            Waits(
                hold.restoration,
                f"{hold.get_kind_display()}: {hold.reason}",
                reverse("desk:days", args=[hold.restoration.uid]),
                _("since %(day)s") % {"day": date_format(hold.first)},
            )
            for hold in money_jobs.running(day)[:SHOWN]
        ],
    )
