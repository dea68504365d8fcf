"""Every address of the shop with something to show at it: the demo workshop, and what a few weeks of work would add.

``BAREFRAME_HOME=… python -m tests.every_page`` adds that to a shop that is running, and prints its addresses as JSON.
"""

import io
import json
import os
import re
from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass
from datetime import timedelta
from typing import Any
from uuid import UUID

NOBODY = {"uuid": str(UUID(int=1)), "int": "1", "str": "x", "slug": "x", "path": "x"}
SIGN_OUT = "/sign-in/out/"
EACH = 2


@dataclass(frozen=True)
class Address:
    """``name`` is that of the URLconf, ``path`` with something real in it."""

    name: str
    path: str


def routes() -> Iterator[tuple[str, str]]:
    """Names and routes of the whole URLconf."""
    from django.urls import URLPattern, get_resolver

    def below(patterns: Any, name: str, route: str) -> Iterator[tuple[str, str]]:
        for pattern in patterns:
            here = route + str(pattern.pattern)
            if isinstance(pattern, URLPattern):
                yield f"{name}{pattern.name}", here
            else:
                yield from below(pattern.url_patterns, f"{name}{pattern.namespace}:" if pattern.namespace else name, here)

    return below(get_resolver("shop.urls").url_patterns, "", "/")


def addresses() -> list[Address]:
    """Every address but signing out, once or twice. What has no sample gets a value that is nobody's."""
    return [Address(name, path) for name, route in routes() for path in _filled(name, route) if path != SIGN_OUT]


def _filled(name: str, route: str) -> list[str]:
    found = samples()
    paths = [""]
    for text, before, kind in re.findall(r"((?:[^<]*?([\w-]+)/)?[^<]*)(?:<(?:(\w+):)?\w+>)?", route):
        if not text and not kind:
            continue
        values = [""]
        if kind:
            values = (found.get(name) or found.get(before) or (lambda: [NOBODY[kind]]))()
        paths = [path + text + str(value) for path in paths for value in values]
    return paths


def samples() -> dict[str, Callable[[], list[Any]]]:
    """Values for the place behind a word of an address, or for the one address of that name."""
    from django.db.models import Q

    from quotes.pricing.models import IssuedQuote
    from shop.methods.models import Vendor
    from shop.outbox.models import Row
    from shop.restorations.models import FinishEvidence, PartDamage, Restoration
    from shop.routes.models import Step

    def some(rows: Any, field: str = "uid", each: int = 1) -> Callable[[], list[Any]]:
        return lambda: list(rows.values_list(field, flat=True)[:each])

    told = FinishEvidence.objects.filter(removed_at__isnull=True).order_by("pk")
    return {
        "restorations": some(Restoration.objects.order_by("pk"), each=EACH),
        "parts": some(told, "part__uid"),
        "steps": some(Step.objects.filter(Q(service__isnull=False), removed_at__isnull=True).order_by("pk")),
        "damages": some(PartDamage.objects.order_by("pk")),
        "evidence": some(told),
        "quotes": some(IssuedQuote.objects.order_by("number"), each=EACH),
        "vendors": some(Vendor.objects.order_by("pk")),
        "background-jobs": some(Row.objects.order_by("pk")),
    }


def furnish() -> None:
    """What the demo leaves out: quotes of bikes that have none, one accepted, and what else leads to a page of its own."""
    from django.utils import timezone

    from quotes.pricing.models import Draft, Outcome, Stage
    from quotes.pricing.services import record_outcome
    from shop.people.times import close_for
    from shop.restorations.evidence import add_photograph
    from shop.restorations.models import FinishEvidence
    from shop.routes.planning import hold

    now = timezone.now()
    today = timezone.localdate(now)
    said: dict[str, Any] = {"who": "manager", "now": now}
    drafts = list(Draft.objects.select_related("restoration").order_by("restoration__pk"))
    quiet = [draft for draft in drafts if not draft.restoration.quotes.exists() and not _blocked(draft)][:EACH]
    for draft in quiet:
        quote = _issued(draft, today, said)
        if quote.stage != Stage.BALLPARK and not Outcome.objects.exists():
            said_by = {"said_by": "The customer", "how": Outcome.How.PHONE, "said_on": today}
            record_outcome(quote=quote, kind=Outcome.Kind.ACCEPTED, **said_by, today=today, **said)
    assert Outcome.objects.filter(kind=Outcome.Kind.ACCEPTED).exists()
    hold(restoration=drafts[0].restoration, first=today, last=today + timedelta(days=3), reason="Waits for a part", **said)
    close_for(first=today, last=today + timedelta(days=1), reason="Stocktaking", **said)
    evidence = FinishEvidence.objects.order_by("pk").first()
    assert evidence
    add_photograph(evidence=evidence, photograph=_photograph(said), **said)


def _blocked(draft: Any) -> bool:
    from quotes.pricing.selectors import priced

    explained = priced(draft).explained
    return explained is None or any(remark.blocking for remark in explained.remarks)


def _issued(draft: Any, today: Any, said: dict[str, Any]) -> Any:
    from quotes.pricing.services import issue

    return issue(
        draft=draft,
        seen_scope=draft.restoration.scope_version,
        seen_draft=draft.version,
        today=today,
        may_go_below_floor=True,
        below_floor_reason="To show it",
        guesses_are_told=True,
        **said,
    )


def _photograph(said: dict[str, Any]) -> Any:
    from django.core.files.uploadedfile import SimpleUploadedFile
    from PIL import Image

    from shop.papers.photographs import keep_photograph

    file = io.BytesIO()
    Image.new("RGB", (320, 240), (120, 30, 40)).save(file, "JPEG")
    upload = SimpleUploadedFile("tank.jpg", file.getvalue(), "image/jpeg")
    return keep_photograph(upload=upload, caption="Under the left badge", taken_on=None, **said)


def main() -> None:
    import django

    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shop.settings")
    django.setup()
    furnish()
    print(json.dumps([asdict(address) for address in addresses()]))


if __name__ == "__main__":
    main()
