"""A customer with a link: a browser that nobody signed in on. Names are invented."""

import html
import re
from datetime import datetime
from typing import Any

from django.db import connection
from django.test import Client
from django.utils import timezone

from quotes.pricing.customers import links
from quotes.pricing.models import Draft, IssuedQuote, Link
from shop.methods.models import Finish
from shop.restorations.models import Part
from shop.routes.parts import edit_part
from tests.pricing.workshop import BY, issue

PAGE = "/c/quote/"
NAME = "Margaret Ashgrove"


def issued_now(draft: Draft, **changes: Any) -> IssuedQuote:
    """Issued today, whatever day it is: a customer's page looks at the clock."""
    now = timezone.now()
    return issue(draft, **({"today": timezone.localdate(now), "now": now} | changes))


def link_to(quote: IssuedQuote, now: datetime | None = None) -> tuple[Link, str]:
    given: dict[str, Any] = {"restoration": quote.restoration, "quote": quote, "who": "desk"}
    return links.make(purpose=Link.Purpose.QUOTE, now=now or timezone.now(), **given)


def progress_link(quote: IssuedQuote) -> tuple[Link, str]:
    return links.make(purpose=Link.Purpose.PROGRESS, restoration=quote.restoration, who="desk", now=timezone.now())


def customer(secret: str) -> Client:
    """A browser in which the link was opened."""
    client = Client()
    client.get(f"/c/{secret}/")
    return client


def yes(link: Link, **changes: Any) -> dict[str, Any]:
    return {"act": "accept", "link": str(link.uid), "said_by": NAME} | changes


def no(link: Link, **changes: Any) -> dict[str, Any]:
    return {"act": "decline", "link": str(link.uid), "said_by": NAME, "reason": "sold the machine"} | changes


def other_finish(part: Part, factory: Finish, deviation: str = "") -> Part:
    """The part left the factory with ``factory`` and gets what is agreed."""
    return edit_part(part=part, changes={"factory_finish": factory, "deviation": deviation}, **BY)


def words_of(response: Any) -> str:
    return html.unescape(" ".join(re.sub(r"<[^>]+>", " ", response.content.decode()).split()))


def every_row() -> dict[str, list[Any]]:
    """All that is in the database, table by table."""
    with connection.cursor() as cursor:
        found = {}
        for table in connection.introspection.table_names(cursor):
            cursor.execute(f"SELECT * FROM {connection.ops.quote_name(table)}")
            found[table] = sorted(map(repr, cursor.fetchall()))
        return found
