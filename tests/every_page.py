"""Every address of the shop with something to show at it.

``BAREFRAME_HOME=… python -m tests.every_page`` furnishes a shop that is running, and prints its addresses as JSON.
"""

import json
import os
import re
from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass
from typing import Any
from uuid import UUID

from tests.furnished import furnish

NOBODY = {"uuid": str(UUID(int=1)), "int": "1", "str": "x", "slug": "x", "path": "x"}
SIGN_OUT = "/sign-in/out/"
EACH = 2
#: Files, which are there only once the background process has made them; and one behind a secret that nobody keeps.
FILES = {"papers:document", "customer:paper", "due:feed", "desk:review_pack"}


@dataclass(frozen=True)
class Address:
    """``name`` is that of the URLconf, ``path`` with something real in it. A customer has to ``enter`` first."""

    name: str
    path: str
    enter: str = ""


def routes() -> Iterator[tuple[str, str]]:
    """Names and routes of the whole URLconf."""
    from django.urls import URLPattern, get_resolver

    def below(patterns: Any, name: str, route: str) -> Iterator[tuple[str, str]]:
        for pattern in patterns:
            here = route + str(pattern.pattern)
            if isinstance(pattern, URLPattern):
                yield f"{name}{pattern.name}", here
            else:
                inner = f"{name}{pattern.namespace}:" if pattern.namespace else name
                yield from below(pattern.url_patterns, inner, here)

    return below(get_resolver("shop.urls").url_patterns, "", "/")


def addresses(secrets: dict[str, str]) -> list[Address]:
    """Every address but signing out, some more than once. What has no sample gets a value that is nobody's."""
    whole, words = by_name(), by_word()
    found = []
    for name, route in routes():
        if name in FILES or route == SIGN_OUT:
            continue
        paths = whole[name]() if name in whole else _filled(route, words)
        enter = _enter(name, secrets)
        found += [Address(name, enter if name == "customer:enter" else path, enter) for path in paths]
    return found


def _enter(name: str, secrets: dict[str, str]) -> str:
    """The link that lets a customer in to a page of theirs."""
    if not name.startswith("customer:"):
        return ""
    purpose = "quote" if name in {"customer:quote", "customer:enter"} else "progress"
    return f"/c/{secrets[purpose]}/"


def _filled(route: str, words: dict[str, Callable[[], list[Any]]]) -> list[str]:
    """The route with each of its values taken from what the word before it stands for."""
    paths = [""]
    for text, kind in re.findall(r"([^<]+)(?:<(?:(\w+):)?\w+>)?", route):
        sample = words.get(text.rstrip("/").rpartition("/")[2])
        values = [""] if not kind else sample() if sample else [NOBODY[kind]]
        paths = [path + text.removeprefix(">") + str(value) for path in paths for value in values]
    return paths


def _some(rows: Any, field: str = "uid", each: int = 1) -> Callable[[], list[Any]]:
    return lambda: list(rows.values_list(field, flat=True)[:each])


def by_word() -> dict[str, Callable[[], list[Any]]]:
    """What stands behind a word of an address."""
    from quotes.learning.models import Suggestion
    from quotes.margin.models import Overhead
    from quotes.pricing.models import IssuedQuote, Link, Message, Receipt, Shared
    from shop.floor.models import Comeback, DamageReport, Mix, Rework, Run, Shelf, Snag, Tag, WalkIn
    from shop.journal.models import Entry
    from shop.methods.models import Check, Finish, Operation, Template, Vendor, VendorClosure
    from shop.outbox.models import Row
    from shop.papers.models import Photograph
    from shop.people.models import Break, Closure, Tablet, User
    from shop.restorations.models import (
        FinishCandidate,
        FinishEvidence,
        IntakePhotograph,
        Looked,
        PartDamage,
        Restoration,
    )
    from shop.routes.models import Hold, Remedy, Step, Task, Wait
    from shop.vendor_jobs.models import Charge, Claim, Job, Line, Order, Reminder, Supplier

    told = FinishEvidence.objects.filter(removed_at__isnull=True).order_by("pk")
    sent = Step.objects.filter(service__isnull=False, removed_at__isnull=True)
    return {
        "restorations": _some(Restoration.objects.order_by("pk"), each=EACH),
        "parts": _some(told, "part__uid"),
        "steps": _some(sent.order_by("pk")),
        "again": _some(Rework.objects.order_by("pk")),
        "replacements": _some(Rework.objects.filter(scrapped__gt=0).order_by("pk")),
        "reports": _some(DamageReport.objects.order_by("pk")),
        "remedies": _some(Remedy.objects.order_by("pk")),
        "checks": _some(Check.objects.order_by("pk")),
        "damages": _some(PartDamage.objects.order_by("pk")),
        "evidence": _some(told),
        "quotes": _some(IssuedQuote.objects.order_by("number"), each=EACH),
        "vendors": _some(Vendor.objects.order_by("pk")),
        "jobs": _some(Job.objects.order_by("pk"), each=3),
        "lines": _some(Line.objects.order_by("pk")),
        "charges": _some(Charge.objects.order_by("pk")),
        "claims": _some(Claim.objects.order_by("pk")),
        "orders": _some(Order.objects.order_by("pk"), each=EACH),
        "suppliers": _some(Supplier.objects.order_by("pk")),
        "core": _some(sent.order_by("pk")),
        "reminders": _some(Reminder.objects.filter(settled="").order_by("-level", "kind"), each=EACH),
        "suggestions": _some(Suggestion.objects.order_by("kind", "pk"), each=EACH),
        "background-jobs": _some(Row.objects.order_by("pk")),
        "people": _some(User.objects.order_by("pk")),
        "spent": _some(Overhead.objects.order_by("pk")),
        "photograph": _some(Photograph.objects.order_by("pk")),
        "receipts": _some(Receipt.objects.order_by("pk")),
        "links": _some(Link.objects.order_by("pk")),
        "photographs": _some(Photograph.objects.order_by("pk")),
        "templates": _some(Template.objects.order_by("pk")),
        "operations": _some(Operation.objects.order_by("pk")),
        "finishes": _some(Finish.objects.filter(routes__isnull=False).order_by("pk")),
        "history": _some(Entry.objects.order_by("-pk")),
        "tasks": _some(Task.objects.order_by("pk")),
        "runs": _some(Run.objects.order_by("pk")),
        "snags": _some(Snag.objects.order_by("pk")),
        "comebacks": _some(Comeback.objects.order_by("pk")),
        "small-jobs": _some(WalkIn.objects.order_by("pk")),
        "t": _some(Tag.objects.order_by("pk"), "code"),
        "mixes": _some(Mix.objects.order_by("pk")),
        "shelves": _some(Shelf.objects.order_by("pk")),
        "holds": _some(Hold.objects.order_by("pk"), "pk"),
        "waits": _some(Wait.objects.order_by("pk"), "pk"),
        "listed": _some(FinishCandidate.objects.order_by("pk"), "pk"),
        "looked": _some(Looked.objects.order_by("pk"), "pk"),
        "tablets": _some(Tablet.objects.order_by("pk")),
        "breaks": _some(Break.objects.filter(until__isnull=True).order_by("pk"), "pk"),
        "closures": _some(Closure.objects.order_by("pk"), "pk"),
        "vendor-closures": _some(VendorClosure.objects.order_by("pk"), "pk"),
        "intake-photographs": _some(IntakePhotograph.objects.order_by("pk"), "pk"),
        "shared": _some(Shared.objects.order_by("pk")),
        "questions": _some(Message.objects.filter(from_customer=True).order_by("pk")),
        "progress-links": _some(Link.objects.filter(purpose=Link.Purpose.PROGRESS).order_by("pk")),
    }


def by_name() -> dict[str, Callable[[], list[str]]]:
    """Pages of which one of every kind is looked at, and those that need two things that belong together."""
    from django.urls import reverse

    from quotes.desk.methods.definitions import DEFINITIONS
    from quotes.desk.models import Upload
    from quotes.desk.rates.kinds import ALL, NewTax
    from quotes.margin.models import Close, Reviewed
    from shop.floor.models import Clocking
    from shop.methods.models import FinishRoute, RunCheck
    from shop.people.models import User
    from shop.restorations.models import FinishEvidence, Restoration

    def rates() -> list[str]:
        firsts = [(kind, next(iter(kind.subjects()))) for kind in (made() for made in ALL)]
        return [
            *(reverse("desk:rate", args=[kind.slug, kind.key(first)]) for kind, first in firsts),
            reverse("desk:rate", args=[NewTax.slug, NewTax().key("")]),
        ]

    def rate_effect() -> list[str]:
        return [path + f"effect/{Restoration.objects.order_by('pk')[0].uid}/" for path in rates()[:1]]

    def methods() -> list[str]:
        firsts = [(one.slug, one.model.objects.order_by("pk").first()) for one in DEFINITIONS]
        return [reverse("desk:method", args=[slug, first.uid]) for slug, first in firsts if first]

    def route() -> list[str]:
        row = FinishRoute.objects.select_related("finish").order_by("pk")[0]
        return [reverse("desk:method_route", args=[row.finish.uid, row.material, row.direction])]

    def parts_list() -> list[str]:
        upload = Upload.objects.filter(kind=Upload.Kind.PARTS)[0]
        of = Restoration.objects.get(uid=upload.subject_uid)
        return [reverse("desk:import_preview", args=[of.uid, upload.uid])]

    def photographed() -> list[tuple[Any, Any]]:
        evidence = FinishEvidence.objects.filter(photographs__isnull=False).select_related("part__restoration")[0]
        return [(evidence.part.restoration.uid, evidence.photographs.all()[0].uid)]

    def rates_list() -> list[str]:
        return [reverse("desk:rates_look", args=[Upload.objects.filter(kind=Upload.Kind.RATES)[0].uid])]

    def mechanic(name: str) -> Callable[[], list[str]]:
        return lambda: [reverse(name, args=[User.objects.get(username="mechanic").uid])]

    return {
        "desk:rate": rates,
        "desk:rate_effect": rate_effect,
        "desk:method": methods,
        "desk:method_new": lambda: [reverse("desk:method_new", args=[one.slug]) for one in DEFINITIONS],
        "desk:method_route": route,
        "desk:run_check": lambda: [reverse("desk:run_check", args=[RunCheck.objects.order_by("pk")[0].uid])],
        "desk:import_preview": parts_list,
        "desk:take_away_photograph": lambda: [reverse("desk:take_away_photograph", args=one) for one in photographed()],
        "desk:rates_look": rates_list,
        "floor:day": mechanic("floor:day"),
        "floor:add_time": mechanic("floor:add_time"),
        "floor:ended": mechanic("floor:ended"),
        "floor:person": mechanic("floor:person"),
        "floor:correct": lambda: [reverse("floor:correct", args=[Clocking.objects.order_by("pk")[0].uid])],
        "floor:pin": mechanic("floor:pin"),
        "desk:rates_export": lambda: [reverse("desk:rates_export", args=["csv"])],
        "learning:look_alikes": lambda: [
            reverse("learning:look_alikes"),
            reverse("learning:look_alikes", query={"maker": "Corvane (invented)", "year": "1956"}),
        ],
        "desk:search": lambda: [
            reverse("desk:search", query={"search": word}) for word in ("tank", "a", "nothing here")
        ],
        "desk:review_week": lambda: [f"/review/weeks/{row.week}/" for row in Close.objects.all()[:1]],
        "desk:review_job": lambda: [f"/review/{row.restoration.uid}/" for row in Reviewed.objects.order_by("pk")[:2]],
        "desk:vendor_times": lambda: [f"/workshop/vendors/{uid}/" for uid in by_word()["vendors"]()],
    }


def main() -> None:
    import django

    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shop.settings")
    django.setup()
    print(json.dumps([asdict(address) for address in addresses(furnish())]))


if __name__ == "__main__":
    main()
