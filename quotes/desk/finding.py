"""Search from anywhere: customers, bikes, parts, issued quotes, vendors. The best first, a few of each kind."""

import re
from collections.abc import Callable
from dataclasses import dataclass
from itertools import islice
from typing import Any

from django.db.models import Case, IntegerField, Prefetch, Q, QuerySet, Value, When
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from quotes.desk.folding import Holds, cleaned, compact, without_gaps
from quotes.pricing import selectors
from quotes.pricing.models import IssuedQuote
from shop.methods.models import Service, Vendor
from shop.restorations.models import Customer, Part, Restoration

SHOWN = 8
SHORTEST, LONGEST, WORDS = 2, 60, 6
EXACT, BEGINS, ANYWHERE = 0, 1, 2


@dataclass(frozen=True, slots=True)
class Hit:
    """One thing found: ``about`` tells it from others of its name."""

    name: str
    about: str
    address: str = ""


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of thing that is searched. ``rows`` come best first; ``hit`` says what is shown of one."""

    title: Any
    rows: Callable[[str], "QuerySet[Any]"]
    hit: Callable[[Any], Hit]


@dataclass(frozen=True, slots=True)
class Group:
    """What was found of one kind; with ``more``, there is more of it."""

    kind: str
    title: str
    hits: list[Hit]
    more: bool


def asked(text: str) -> str:
    """What is looked for, of what somebody typed."""
    return cleaned(text, longest=LONGEST)


def too_short(term: str) -> bool:
    return len(compact(term)) < SHORTEST


def groups(term: str) -> list[Group]:
    """The best of every kind in which something was found. A fixed number of queries, whatever is found."""
    found = [Group(name, str(kind.title), *_few(kind, term)) for name, kind in KINDS.items()]
    return [group for group in found if group.hits]


def _few(kind: Kind, term: str) -> tuple[list[Hit], bool]:
    rows = list(kind.rows(term)[: SHOWN + 1])
    return [kind.hit(row) for row in islice(rows, SHOWN)], len(rows) > SHOWN


def each_word(term: str, *columns: str) -> Q:
    """Every word of ``term`` stands in one of ``columns``, whatever its case and accents."""
    found = Q()
    for word in term.split()[:WORDS]:
        found &= _somewhere(word, columns)
    return found


def _somewhere(word: str, columns: tuple[str, ...]) -> Q:
    anywhere = Q()
    for column in columns:
        anywhere |= Q(Holds(column, word))
    return anywhere


def numbered(term: str, *columns: str) -> Q:
    """One of ``columns`` holds the number that ``term`` is, with or without what stands between its figures."""
    number = compact(term)
    anywhere = Q()
    for column in columns:
        anywhere |= Q(Holds(without_gaps(column), number))
    return anywhere if any(letter.isdigit() for letter in number) else Q(pk__in=())


def _best_first(rows: "QuerySet[Any]", *better: tuple[Q, int]) -> "QuerySet[Any]":
    """Ranked by the first of ``better`` that holds, then as the rows are ordered anyway."""
    rank = Case(
        *(When(condition, then=Value(place)) for condition, place in better),
        default=Value(ANYWHERE),
        output_field=IntegerField(),
    )
    ranked: QuerySet[Any] = rows.annotate(rank=rank).order_by("rank", *rows.query.order_by)
    return ranked


def _begins(term: str, *columns: str) -> tuple[Q, int]:
    anywhere = Q()
    for column in columns:
        anywhere |= Q(Holds(column, term, at="beginning"))
    return anywhere, BEGINS


def _customers(term: str) -> "QuerySet[Customer]":
    found = each_word(term, "name", "email") | numbered(term, "phone")
    bikes = Prefetch("restorations", Restoration.objects.order_by("-begun_on", "-pk"))
    rows = Customer.objects.filter(found).order_by("name", "pk")
    return _best_first(rows, _begins(term, "name", "email")).prefetch_related(bikes)


def _customer(row: Customer) -> Hit:
    bikes = list(row.restorations.all())
    about = " · ".join(filter(None, (row.phone, row.email, *(bike.title for bike in bikes[:2]))))
    if len(bikes) == 1:
        return Hit(row.name, about, reverse("desk:facts", args=[bikes[0].uid]))
    return Hit(row.name, about, reverse("desk:restorations", query={"search": row.name}))


NUMBERS = ("machine__frame_number", "machine__engine_number")


def _bikes(term: str) -> "QuerySet[Restoration]":
    columns = ("title", "machine__maker", "machine__model", "customer__name", *NUMBERS)
    found = each_word(term, *columns) | numbered(term, *NUMBERS)
    rows = Restoration.objects.filter(found).select_related("customer", "machine").order_by("-begun_on", "-pk")
    number, begins, exact = compact(term), Q(), Q()
    for column in NUMBERS:
        begins |= Q(Holds(without_gaps(column), number, at="beginning"))
        exact |= Q(Holds(without_gaps(column), number, at="whole"))
    names, place = _begins(term, "title", "machine__maker", "machine__model")
    return _best_first(rows, (exact, EXACT), (begins | names, place))


def _bike(row: Restoration) -> Hit:
    frame, engine = row.machine.frame_number, row.machine.engine_number
    machine = str(row.machine)
    numbers = (
        _("frame %(number)s") % {"number": frame} if frame else "",
        _("engine %(number)s") % {"number": engine} if engine else "",
    )
    about = (row.customer.name, machine if machine != row.title else "", *numbers)
    return Hit(row.title, " · ".join(filter(None, about)), reverse("desk:restoration", args=[row.uid]))


def _parts(term: str) -> "QuerySet[Part]":
    rows = Part.objects.filter(each_word(term, "name"), removed_at__isnull=True)
    rows = rows.select_related("restoration__customer").order_by("-restoration__begun_on", "-restoration", "position")
    return _best_first(rows, _begins(term, "name"))


def _part(row: Part) -> Hit:
    about = (row.restoration.title, row.restoration.customer.name, row.area_name)
    return Hit(row.name, " · ".join(filter(None, about)), reverse("desk:part", args=[row.uid]))


def quote_number(term: str) -> str:
    """The figures of a quote's number: "Q00012", "q 12" and "12" are all "12"; empty for what is none."""
    figures = re.fullmatch(r"q?0*(\d{1,9})", compact(term).casefold())
    return figures[1] if figures else ""


def _quotes(term: str) -> "QuerySet[IssuedQuote]":
    figures = quote_number(term)
    rows = IssuedQuote.objects.select_related("restoration__customer").defer(*selectors.HEAVY).order_by("-number")
    if not figures:
        return rows.none()
    exact = Q(number=figures)
    return _best_first(rows.filter(exact | Q(number__startswith=figures)), (exact, EXACT))


def _quote(row: IssuedQuote) -> Hit:
    about = (row.restoration.title, row.restoration.customer.name, row.get_stage_display())
    return Hit(str(row), " · ".join(about), reverse("pricing:quote", args=[row.uid]))


def _vendors(term: str) -> "QuerySet[Vendor]":
    service = Service.objects.order_by("name")
    offers = service.filter(each_word(term, "name"))
    found = each_word(term, "name", "email") | numbered(term, "phone") | Q(pk__in=offers.values("vendor"))
    rows = Vendor.objects.filter(found).order_by("name", "pk")
    return _best_first(rows, _begins(term, "name")).prefetch_related(Prefetch("services", service))


def _vendor(row: Vendor) -> Hit:
    services = ", ".join(service.name for service in row.services.all())
    return Hit(row.name, " · ".join(filter(None, (services, row.phone, row.email))))


#: What can be searched, in the order in which it is shown. Vendor jobs will stand behind the vendors.
KINDS: dict[str, Kind] = {
    "quotes": Kind(gettext_lazy("Issued quotes"), _quotes, _quote),
    "bikes": Kind(gettext_lazy("Restorations"), _bikes, _bike),
    "customers": Kind(gettext_lazy("Customers"), _customers, _customer),
    "parts": Kind(gettext_lazy("Parts"), _parts, _part),
    "vendors": Kind(gettext_lazy("Vendors and what they do"), _vendors, _vendor),
}


def all_of(kind: str, term: str, most: int) -> list[Hit]:
    """Everything of one kind, best first, up to ``most``."""
    return [KINDS[kind].hit(row) for row in KINDS[kind].rows(term)[:most]]
