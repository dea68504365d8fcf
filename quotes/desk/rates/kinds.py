"""The kinds of rate: what has one, what it says, and how a new one is noted."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from functools import cached_property
from typing import Any

from django.db.models import Model, QuerySet
from django.http import Http404
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from quotes.desk.rates import forms
from quotes.desk.rates.tables import AMOUNTS, RateForm, column
from quotes.engine.money import from_minor, places
from shop import currency, text
from shop.methods import services as methods
from shop.methods.dated import in_force, latest_first
from shop.methods.models import Consumable, Operation, Service, StandardTime
from shop.people.models import Grade
from shop.rates import services
from shop.rates.loading import STARTER_SET
from shop.rates.models import ConsumablePrice, GradeRate, Odds, PricePolicy, ServicePrice, Status, TaxRate

#: A dated row of any kind, and what has it: a model's row, a tax code, or "" where there is one for the whole shop.
Rate = Any
Subject = Any


@dataclass(frozen=True, slots=True)
class Figure:
    """A figure of a rate by its name, as text. ``name`` is its box."""

    name: str
    label: str
    text: str


@dataclass(frozen=True, slots=True)
class Thing:
    """Something that has a rate, what holds, and what comes."""

    key: str
    name: str
    note: str
    holds: Rate | None
    coming: list[Rate]


class Kind:
    """A kind of rate. The services are called with what its form says; nothing else writes."""

    slug = ""
    label: Any = ""
    one: Any = ""
    model: Any
    form: type[RateForm]
    of = ""  # the field that names what has the rate; "" for the whole shop
    things: Any = None  # the model of what has the rate
    lined: Sequence[str] = ()  # the figures that are drawn over time
    begins = False  # whether it is the page of something that is not there yet

    # -- what has it ---------------------------------------------------------------------------------------------------

    def subjects(self) -> Iterable[Subject]:
        found: QuerySet[Any] = self.things.objects.order_by("name")
        return found

    def subject(self, key: str) -> Subject:
        for subject in self.things.objects.filter(uid=key) if len(key) == 36 else ():
            return subject
        raise Http404

    def key(self, subject: Subject) -> str:
        return str(subject.uid)

    def place(self, subject: Subject, _said: Mapping[str, Any]) -> tuple[str, str]:
        """The words of the address where it stands once it is noted."""
        return self.slug, self.key(subject)

    @property
    def listed(self) -> str:
        """Under which of the book's headings it stands."""
        return self.slug

    def name(self, subject: Subject) -> str:
        return str(subject)

    def aside(self, _subject: Subject) -> str:
        """What stands small beside the name."""
        return ""

    # -- its rows ------------------------------------------------------------------------------------------------------

    def rows(self) -> QuerySet[Any]:
        rows: QuerySet[Any] = self.model._default_manager.all()
        return rows.select_related(self.of) if self.things else rows

    def history(self, subject: Subject) -> list[Rate]:
        """Newest first."""
        rows = self.rows().filter(**{self.of: subject}) if self.of else self.rows()
        return list(rows.order_by("-valid_from", "-revision"))

    def held(self, subject: Subject, on: date) -> Rate | None:
        rows = self.rows().filter(**{self.of: subject}) if self.of else self.rows()
        return latest_first(rows, on=on).first()

    def book(self, today: date) -> list[Thing]:
        """Everything of this kind with what holds today and what comes, in a fixed number of queries."""
        of = self.of
        held = in_force(self.rows(), of=of, on=today) if of else latest_first(self.rows(), on=today)[:1]
        holds = {self._owner(row): row for row in held}
        coming: dict[Any, list[Rate]] = {}
        for row in self.rows().filter(valid_from__gt=today).order_by("valid_from", "revision"):
            coming.setdefault(self._owner(row), []).append(row)
        return [
            Thing(
                self.key(subject),
                self.name(subject),
                self.aside(subject),
                holds.get(self._id(subject)),
                coming.get(self._id(subject), []),
            )
            for subject in self.subjects()
        ]

    def _owner(self, row: Rate) -> Any:
        return getattr(row, f"{self.of}_id" if self.things else self.of) if self.of else ""

    def _id(self, subject: Subject) -> Any:
        return subject.pk if isinstance(subject, Model) else subject

    # -- what it says --------------------------------------------------------------------------------------------------

    def names(self) -> list[str]:
        return [name for name in self.form().boxes if name not in {"valid_from", "said_by", "valid_until", "status"}]

    def figures(self, row: Rate, *, only: Sequence[str] = ()) -> list[Figure]:
        names = only or self.names()
        return [
            Figure(name, capfirst(str(column(self.model, name).verbose_name)), self._said(row, name)) for name in names
        ]

    def brief(self, row: Rate) -> list[Figure]:
        """What stands in the list."""
        return self.figures(row, only=self.lined)

    def value(self, row: Rate, name: str) -> Any:
        """A figure as a person types it: money in major units."""
        value = getattr(row, AMOUNTS.get(name, name))
        return from_minor(value, digits=places(currency.code())) if name in AMOUNTS else value

    def _said(self, row: Rate, name: str) -> str:
        field = column(self.model, name)
        value = self.value(row, name)
        if name in AMOUNTS:
            return text.money(value, currency.code())
        if field.choices:
            return str(getattr(row, f"get_{name}_display")())
        return text.quantity(value) if isinstance(value, Decimal | int) else str(value or "—")

    def initial(self, row: Rate | None, today: date) -> dict[str, Any]:
        """What a new revision begins with: what holds. Who said so is asked anew."""
        if row is None:
            return {"valid_from": today} | {
                name: column(self.model, name).get_default() for name in (*self.form.numbers, *self.form.wholes)
            }
        return {"valid_from": today} | {name: self.value(row, name) for name in self._kept_names()}

    def _kept_names(self) -> list[str]:
        return [name for name in self.form().boxes if name not in {"valid_from", "said_by", "valid_until"}]

    def table(self, _row: Rate | None) -> list[dict[str, Any]]:
        """The rows of its table, where it has one."""
        return []

    # -- noting it -----------------------------------------------------------------------------------------------------

    def note(self, subject: Subject, said: Mapping[str, Any], /, **by: Any) -> Rate:
        raise NotImplementedError


class Labour(Kind):
    slug, label, one = "labour", gettext_lazy("Labour grades"), gettext_lazy("labour grade")
    model, form, of, things = GradeRate, forms.LabourForm, "grade", Grade
    lined = ("cost_rate", "charge_rate")

    def note(self, subject: Subject, said: Mapping[str, Any], /, **by: Any) -> Rate:
        return services.note_grade_rate(grade=subject, **said, **by)


class Consumables(Kind):
    slug, label, one = "consumables", gettext_lazy("Consumables"), gettext_lazy("consumable")
    model, form, of, things = ConsumablePrice, forms.ConsumableForm, "consumable", Consumable
    lined = ("pack_price",)

    def aside(self, subject: Subject) -> str:
        return _("by the %(unit)s") % {"unit": subject.unit}

    def brief(self, row: Rate) -> list[Figure]:
        price = self.figures(row, only=("pack_price",))[0]
        size = text.quantity(row.pack_size, row.consumable.unit)
        return [Figure("pack_price", price.label, _("%(price)s for %(size)s") % {"price": price.text, "size": size})]

    def note(self, subject: Subject, said: Mapping[str, Any], /, **by: Any) -> Rate:
        return services.note_consumable_price(consumable=subject, **said, **by)


class VendorWork(Kind):
    slug, label, one = "vendor-work", gettext_lazy("Vendor work"), gettext_lazy("vendor's service")
    model, form, of, things = ServicePrice, forms.ServiceForm, "service", Service
    lined = ("rate",)

    def subjects(self) -> Iterable[Subject]:
        return Service.objects.select_related("vendor").order_by("vendor__name", "name")

    def rows(self) -> QuerySet[Any]:
        return ServicePrice.objects.select_related("service__vendor", "handling_grade").prefetch_related("breaks")

    def aside(self, subject: Subject) -> str:
        return str(subject.vendor)

    def figures(self, row: Rate, *, only: Sequence[str] = ()) -> list[Figure]:
        found = [] if only == self.lined else super().figures(row, only=only)
        measure = row.service.get_measure_display()
        rates = [
            Figure(
                "breaks",
                _("From %(quantity)s %(measure)s") % {"quantity": text.quantity(item.quantity), "measure": measure},
                self._rate(item.rate_e4, measure),
            )
            for item in sorted(row.breaks.all(), key=lambda item: item.quantity)
        ]
        return [*rates, *found]

    def brief(self, row: Rate) -> list[Figure]:
        first = min(row.breaks.all(), key=lambda item: item.quantity, default=None)
        rate = self._rate(first.rate_e4, row.service.get_measure_display()) if first else "—"
        lot = self._said(row, "lot_charge")
        least = self._said(row, "minimum")
        return [
            Figure("rate", _("Rate"), rate),
            *([Figure("lot_charge", _("Lot charge"), lot)] if row.lot_minor else []),
            *([Figure("minimum", _("Minimum"), least)] if row.minimum_minor else []),
        ]

    def value(self, row: Rate, name: str) -> Any:
        if name != "rate":
            return super().value(row, name)
        first = min(row.breaks.all(), key=lambda item: item.quantity, default=None)
        return Decimal(first.rate_e4).scaleb(-4) if first else Decimal(0)

    def _rate(self, rate_e4: int, measure: str) -> str:
        rate = text.rate(Decimal(rate_e4).scaleb(-4), currency.code())
        return _("%(rate)s per %(measure)s") % {"rate": rate, "measure": measure}

    def table(self, row: Rate | None) -> list[dict[str, Any]]:
        breaks = sorted(row.breaks.all(), key=lambda item: item.quantity) if row else []
        found = [{"quantity": item.quantity, "rate": Decimal(item.rate_e4).scaleb(-4)} for item in breaks]
        return found or [{"quantity": Decimal(0)}]

    def note(self, subject: Subject, said: Mapping[str, Any], /, **by: Any) -> Rate:
        return services.note_service_price(service=subject, **said, **by)


class Taxes(Kind):
    """A tax is its code; its name is that of its newest rate."""

    slug, label, one = "taxes", gettext_lazy("Taxes"), gettext_lazy("tax")
    model, form, of = TaxRate, forms.TaxForm, "code"
    lined = ("percent",)

    def subjects(self) -> Iterable[Subject]:
        return list(self._names)

    @cached_property
    def _names(self) -> dict[str, str]:
        return dict(TaxRate.objects.order_by("code", "valid_from", "revision").values_list("code", "name"))

    def subject(self, key: str) -> Subject:
        if key not in self._names:
            raise Http404
        return key

    def key(self, subject: Subject) -> str:
        return str(subject)

    def name(self, subject: Subject) -> str:
        return self._names[subject]

    def note(self, subject: Subject, said: Mapping[str, Any], /, **by: Any) -> Rate:
        return services.note_tax_rate(code=subject, **said, **by)


class NewTax(Taxes):
    """A tax with a code of its own, and its first rate."""

    slug, form, begins, listed = "tax", forms.NewTaxForm, True, Taxes.slug

    def subjects(self) -> Iterable[Subject]:
        return [""]

    def subject(self, key: str) -> Subject:
        if key != "new":
            raise Http404
        return ""

    def key(self, _subject: Subject) -> str:
        return "new"

    def place(self, _subject: Subject, said: Mapping[str, Any]) -> tuple[str, str]:
        return Taxes.slug, said["code"]

    def name(self, _subject: Subject) -> str:
        return _("A new tax")

    def note(self, _subject: Subject, said: Mapping[str, Any], /, **by: Any) -> Rate:
        return services.add_tax(**said, **by)


class _Whole(Kind):
    """One for the whole shop."""

    def subjects(self) -> Iterable[Subject]:
        return [""]

    def subject(self, key: str) -> Subject:
        if key != "shop":
            raise Http404
        return ""

    def key(self, _subject: Subject) -> str:
        return "shop"

    def name(self, _subject: Subject) -> str:
        return str(self.label)


class Policy(_Whole):
    slug, label, one = "pricing", gettext_lazy("How we price"), gettext_lazy("price policy")
    model, form = PricePolicy, forms.PolicyForm
    lined = ("labour_margin", "overhead_rate", "floor")

    def rows(self) -> QuerySet[Any]:
        return PricePolicy.objects.select_related("handling_grade").prefetch_related("stages")

    def figures(self, row: Rate, *, only: Sequence[str] = ()) -> list[Figure]:
        found = super().figures(row, only=only)
        if only:
            return found
        stages = sorted(row.stages.all(), key=lambda stage: stage.position)
        return found + [Figure("stages", stage.name, _stage(stage)) for stage in stages]

    def table(self, row: Rate | None) -> list[dict[str, Any]]:
        stages = sorted(row.stages.all(), key=lambda stage: stage.position) if row else []
        return [{name: getattr(stage, name) for name in self.form.cells} for stage in stages]

    def note(self, _subject: Subject, said: Mapping[str, Any], /, **by: Any) -> Rate:
        return services.note_policy(**said, **by)


def _stage(stage: Any) -> str:
    told = {
        "percent": text.quantity(stage.percent),
        "due": stage.due,
        "event": stage.get_event_display(),
        "days": stage.days,
    }
    if not stage.days:
        return _("%(percent)s %%, %(due)s (when %(event)s)") % told
    return _("%(percent)s %%, %(due)s (%(days)s days after %(event)s)") % told


class Chances(_Whole):
    slug, label, one = (
        "chances",
        gettext_lazy("Fee for strip and inspect, chances and spreads"),
        gettext_lazy("fee, chances and spreads"),
    )
    model, form = Odds, forms.OddsForm
    lined = ("inspect_fee", "kept", "pace", "guessed")

    def note(self, _subject: Subject, said: Mapping[str, Any], /, **by: Any) -> Rate:
        return services.note_odds(**said, **by)


class Times(Kind):
    """Standard times are dated like rates; they belong to the methods."""

    slug, label, one = "times", gettext_lazy("Standard times"), gettext_lazy("standard time")
    model, form, of, things = StandardTime, forms.TimeForm, "operation", Operation
    lined = ("setup", "run")

    def aside(self, subject: Subject) -> str:
        return _("run time goes by the %(measure)s") % {"measure": subject.get_measure_display()}

    def note(self, subject: Subject, said: Mapping[str, Any], /, **by: Any) -> Rate:
        return methods.note_standard_time(operation=subject, **said, **by)


#: In the order of the page. Standard times have their place beside the methods.
BOOK: tuple[type[Kind], ...] = (Labour, Consumables, VendorWork, Taxes, Policy, Chances)
ALL: tuple[type[Kind], ...] = (*BOOK, Times)


def kind_of(slug: str) -> Kind:
    """A kind by its word in the address, or 404."""
    kinds: tuple[type[Kind], ...] = (*ALL, NewTax)
    for kind in kinds:
        if kind.slug == slug:
            return kind()
    raise Http404


def ours(row: Rate) -> bool:
    """Whether the shop has noted nothing of its own yet in its place."""
    return getattr(row, "noted_by", "") == STARTER_SET


def sure(row: Rate, today: date) -> tuple[str, str]:
    """How sure a price is, in words, and the tag for it; nothing for what has no such thing."""
    status = getattr(row, "status", "")
    if not status:
        return (_("our guess"), "tag-mind") if ours(row) else ("", "")
    until = row.valid_until
    if until is not None and until < today:
        return _("no longer promised: ask again"), "tag-bad"
    return str(Status(status).label), {"seen": "tag-good", "guessed": "tag-mind"}.get(status, "")
