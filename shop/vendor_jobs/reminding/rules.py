"""When the service reminds, and when it keeps quiet: sensible where nobody has said anything, else as the shop has it."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, time
from uuid import NAMESPACE_URL, uuid5

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import QuerySet
from django.utils.translation import gettext as _

from shop.journal.services import Subject, record, subject_of
from shop.methods.models import Vendor
from shop.people.models import Shop
from shop.vendor_jobs.models import Kind, Quiet, Rule

WEEKDAYS = "1234567"
#: Nobody is reminded of anything further ahead, or that late [working days].
MOST = 60


@dataclass(frozen=True, slots=True)
class Said:
    """A rule as it holds: ``days`` before or after, and ``climbs_after`` so many more to the manager [working days]."""

    on: bool = True
    days: int = 0
    climbs_after: int | None = None


#: Common practice, no source: each shop changes them to what its vendors are like.
DEFAULTS: Mapping[str, Said] = {
    Kind.MAY_LEAVE: Said(),
    Kind.MUST_LEAVE: Said(days=3, climbs_after=4),
    Kind.DUE_SOON: Said(days=2),
    Kind.DUE_TODAY: Said(),
    Kind.OVERDUE: Said(days=1, climbs_after=3),
    Kind.CLOSED_DAY: Said(),
    Kind.CHARGE: Said(days=7, climbs_after=10),
    Kind.CORE: Said(days=7, climbs_after=7),
    Kind.CUSTOMERS_PART: Said(days=1, climbs_after=5),
    Kind.ORDER_LATE: Said(days=1, climbs_after=5),
}
#: Where only on or off is a question: they are told of as soon as they are so.
AT_ONCE = frozenset({Kind.MAY_LEAVE, Kind.DUE_TODAY, Kind.CLOSED_DAY})
#: What goes by a vendor; the others are about suppliers and customers, and have one rule in the whole shop.
OF_VENDORS = (
    Kind.MAY_LEAVE,
    Kind.MUST_LEAVE,
    Kind.DUE_SOON,
    Kind.DUE_TODAY,
    Kind.OVERDUE,
    Kind.CLOSED_DAY,
    Kind.CHARGE,
)


@dataclass(frozen=True, slots=True)
class Rules:
    """Every rule that somebody set, by kind and vendor; a vendor's own goes before the shop's, and that before `DEFAULTS`."""

    rows: Mapping[tuple[str, int | None], Said]

    def of(self, kind: Kind, vendor: int | None = None) -> Said:
        own = self.rows.get((kind, vendor)) if vendor is not None else None
        return own or self.rows.get((kind, None)) or DEFAULTS[kind]


def rules() -> Rules:
    """All of them, in one query."""
    return Rules({(row.kind, row.vendor_id): Said(row.on, row.days, row.climbs_after) for row in Rule.objects.all()})


def rules_of_vendors() -> QuerySet[Rule]:
    """Rules that vendors have of their own, by vendor. One query."""
    return Rule.objects.filter(vendor__isnull=False).select_related("vendor").order_by("vendor__name", "kind")


@transaction.atomic
def set_rule(
    *,
    kind: Kind,
    vendor: Vendor | None = None,
    on: bool,
    days: int,
    climbs_after: int | None,
    who: str,
    now: datetime,
) -> Rule:
    """Set a rule for the whole shop, or for one vendor before that. Raises at the field."""
    if vendor is not None and kind not in OF_VENDORS:
        said = _("This does not go by vendors. Set it for the whole shop.")
        raise ValidationError({"vendor": said}, code="no vendor")
    wrong = {
        name: _("Give 0 to %(most)s working days.") % {"most": MOST}
        for name, value in (("days", days), ("climbs_after", climbs_after or 0))
        if not 0 <= value <= MOST
    }
    if wrong:
        raise ValidationError(wrong)
    _hold(vendor)
    row = Rule.objects.filter(kind=kind, vendor=vendor).first() or Rule(kind=kind, vendor=vendor)
    held = rules().of(kind, vendor.pk if vendor else None)
    before = _told(held)
    row.on, row.days, row.climbs_after = on, days, climbs_after
    row.full_clean(exclude={"vendor"})
    row.save()
    after = _told(Said(on, days, climbs_after))
    if vendor is not None:
        after |= {"of what": str(kind.label)}
    record(who=who, at=now, what="reminder rule set", subject=_subject(kind, vendor), before=before, after=after)
    return row


@transaction.atomic
def set_rules(*, said: Mapping[Kind, Said], who: str, now: datetime) -> None:
    """Set the shop's rules that differ from how they hold. Raises at ``days_overdue`` and the like: field and kind."""
    wrong: dict[str, list[str]] = {}
    held = rules()
    for kind, one in said.items():
        if one == held.of(kind):
            continue
        try:
            set_rule(kind=kind, on=one.on, days=one.days, climbs_after=one.climbs_after, who=who, now=now)
        except ValidationError as error:
            wrong |= {f"{name}_{kind}": told for name, told in error.message_dict.items()}
    if wrong:
        raise ValidationError(wrong)


@transaction.atomic
def drop_rule(*, kind: Kind, vendor: Vendor, who: str, now: datetime) -> None:
    """A vendor goes by the shop's rule again."""
    _hold(vendor)
    row = Rule.objects.filter(kind=kind, vendor=vendor).first()
    if row is None:
        return
    before = _told(Said(row.on, row.days, row.climbs_after)) | {"of what": str(kind.label)}
    row.delete()
    record(who=who, at=now, what="reminder rule dropped", subject=subject_of(vendor), before=before)


def _hold(vendor: Vendor | None) -> None:
    """So that two who set the same rule at once make one row."""
    if vendor is None:
        Shop.objects.select_for_update().first()
    else:
        Vendor.objects.select_for_update().get(pk=vendor.pk)


def _told(said: Said) -> dict[str, object]:
    return {"reminds": said.on, "days": said.days, "climbs after": said.climbs_after}


def _subject(kind: Kind, vendor: Vendor | None) -> Subject:
    """A vendor's rule is told of the vendor, the shop's of the rule itself, which has a name that stays."""
    if vendor is not None:
        return subject_of(vendor)
    uid = uuid5(NAMESPACE_URL, f"bareframe:reminder rule:{kind}")
    return Subject(type=Rule._meta.label_lower, uid=uid, label=str(kind.label))


def quiet() -> Quiet:
    """When nobody is told; as a shop begins, unsaved, where nobody has said anything. One query."""
    return Quiet.objects.first() or Quiet()


@transaction.atomic
def set_quiet(*, days: Iterable[str], morning: time, evening: time, digest: bool, who: str, now: datetime) -> Quiet:
    """``days`` are digits of the weekdays on which nobody is told, 1 being Monday. Raises at the field."""
    chosen = set(days)
    digits = "".join(digit for digit in WEEKDAYS if digit in chosen)
    if digits == WEEKDAYS:
        said = _("Nobody would ever be told. Leave one day at least, or switch the digest off.")
        raise ValidationError({"days": said})
    if evening <= morning:
        raise ValidationError({"evening": _("That is before the morning's digest. Give a later time.")})
    row = Quiet.objects.select_for_update().first() or Quiet()
    before = _quiet_told(row)
    row.days, row.morning, row.evening, row.digest = digits, morning, evening, digest
    row.full_clean()
    row.save()
    subject = Subject(type=Quiet._meta.label_lower, uid=row.uid, label=_("quiet times"))
    record(who=who, at=now, what="quiet times set", subject=subject, before=before, after=_quiet_told(row))
    return row


def _quiet_told(row: Quiet) -> dict[str, object]:
    return {
        "quiet on": row.days,
        "digest at": f"{row.morning:%H:%M}",
        "quiet from": f"{row.evening:%H:%M}",
        "digest": row.digest,
    }
