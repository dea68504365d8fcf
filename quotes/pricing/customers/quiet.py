"""Which customers have heard nothing from us for too long; when each heard last, and how."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

from django.db.models import Exists, Max, Model, OuterRef, QuerySet
from django.utils import timezone
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from quotes.pricing.models import Instalment, IssuedQuote, Mailed, Message, Outcome, Shared
from shop.outbox.models import DEAD, UNKNOWN
from shop.outbox.models import Row as Job
from shop.rates.models import PaymentStage, PricePolicy
from shop.rates.selectors import policy
from shop.restorations.models import Restoration


@dataclass(frozen=True, slots=True)
class Way:
    """A way in which a customer hears from us: rows with the restoration and the moment under these names."""

    name: Promise
    rows: QuerySet[Model]
    restoration: str = "restoration"
    at: str = "at"


@dataclass(frozen=True, slots=True)
class Word:
    """The last that a customer heard from us."""

    at: datetime
    how: str

    def days(self, day: date) -> int:
        """How many days ago that was on ``day``."""
        return (day - timezone.localdate(self.at)).days


def ways() -> Sequence[Way]:
    """An e-mail that did not go out, or maybe did not, is no word. A yes ends a talk, so silence begins after it."""
    gone_wrong = Job.objects.filter(key=OuterRef("job_key"), state__in=[DEAD, UNKNOWN])
    return (
        Way(_("e-mail"), Mailed.objects.filter(~Exists(gone_wrong))),
        Way(_("answer on their page"), Message.objects.filter(from_customer=False)),
        Way(_("shared on their page"), Shared.objects.filter(taken_back_at__isnull=True)),
        Way(_("quote accepted"), Outcome.objects.filter(kind=Outcome.Kind.ACCEPTED), "quote__restoration"),
        Way(_("quote issued"), IssuedQuote.objects.all(), at="issued_at"),
    )


def last_words(restorations: Iterable[int]) -> dict[int, Word]:
    """Restoration id to what its customer heard last; as many queries as there are ways."""
    pks, found = list(restorations), dict[int, Word]()
    for way in ways():
        rows = way.rows.filter(**{f"{way.restoration}__in": pks}).order_by()
        for pk, at in rows.values_list(way.restoration).annotate(last=Max(way.at)):
            if pk not in found or at > found[pk].at:
                found[pk] = Word(at, str(way.name))
    return found


def last_word(restoration: Restoration) -> Word | None:
    """What the customer of one restoration heard last."""
    return last_words([restoration.pk]).get(restoration.pk)


def limit(day: date) -> int:
    """After how many days without a word a customer is to hear from us [days]."""
    rules = policy(day)
    return rules.quiet_days if rules else int(PricePolicy._meta.get_field("quiet_days").get_default())


def quiet(day: date, *, limit: int) -> QuerySet[Restoration]:
    """Accepted restorations, not handed over yet, whose customers heard nothing for ``limit`` days."""
    tomorrow_then = day - timedelta(days=limit - 1)
    since = timezone.make_aware(datetime.combine(tomorrow_then, time.min))
    yes = Outcome.objects.filter(quote__restoration=OuterRef("pk"), kind=Outcome.Kind.ACCEPTED)
    handed_over = Instalment.objects.filter(
        quote__restoration=OuterRef("pk"), event=PaymentStage.Event.HANDED_OVER, reached_on__isnull=False
    )
    rows = Restoration.objects.select_related("customer").filter(Exists(yes), ~Exists(handed_over))
    for way in ways():
        rows = rows.filter(~Exists(way.rows.filter(**{way.restoration: OuterRef("pk"), f"{way.at}__gte": since})))
    return rows
