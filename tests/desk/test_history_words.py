"""What happened, in words: no login names, no uids, no raw moments and sums, nothing said of what was left empty."""

import re
import uuid
from datetime import UTC, datetime
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client

from shop.journal.services import record, subject_of
from shop.people.models import User
from shop.restorations.models import Restoration
from tests.workshop import NOW, restoration

pytestmark = pytest.mark.django_db


@pytest.fixture
def bike() -> Restoration:
    return restoration()


def told(client: Client, bike: Restoration, what: str, before: Any = None, after: Any = None, who: str = "mw") -> str:
    record(who=who, at=NOW, what=what, subject=subject_of(bike), before=before, after=after)
    html = client.get(f"/restorations/{bike.uid}/history/").content.decode()
    newest = html.split("<ol")[1].split("</li>\n  <li")[0]
    return " ".join(re.sub(r"<[^>]+>", " ", newest).split())


def test_an_issued_quote_is_told_with_money_and_without_what_was_left_empty(
    front_desk: Client, bike: Restoration
) -> None:
    after = {"stage": "main", "total": Decimal("26639.75"), "below floor": ""}
    words = told(front_desk, bike, "quote issued", after=after)
    assert "total: €26,639.75" in words
    assert "below floor" not in words


def test_a_link_is_told_with_its_day_and_without_its_uid(front_desk: Client, bike: Restoration) -> None:
    uid = uuid.uuid4()
    after = {"link": uid, "purpose": "quote", "expires": datetime(2026, 4, 30, 21, 59, tzinfo=UTC)}
    words = told(front_desk, bike, "link made", after=after)
    assert str(uid) not in words
    assert "2026-04-30T" not in words
    assert re.search(r"expires: 30 Apr(il)? 2026, \d\d:59", words)


def test_people_are_called_by_their_names_and_others_as_the_journal_has_them(
    front_desk: Client, bike: Restoration
) -> None:
    User.objects.create(username="mw", first_name="Mary", last_name="Whitlow")
    assert "Mary Whitlow ·" in told(front_desk, bike, "restoration corrected")
    assert "customer, by link 3fa901 ·" in told(front_desk, bike, "customer asked", who="customer, by link 3fa901")


def test_what_was_emptied_is_still_told(front_desk: Client, bike: Restoration) -> None:
    words = told(front_desk, bike, "restoration corrected", before={"title": "Old name"}, after={"title": ""})
    assert "Old name" in words
