"""The PDF of a closed week: from what was kept alone, made once, for the manager."""

import io
from datetime import timedelta

import pypdf
import pytest
from django.test import Client
from django.utils import timezone

from quotes.desk import review_paper, reviewing
from quotes.margin import closing, review, weeks
from quotes.margin.models import Close, Pack
from shop import text
from shop.outbox.models import Row
from shop.outbox.services import deliver
from shop.people.models import User
from shop.people.roles import ROLE_DESK
from shop.restorations.models import Restoration
from tests.desk.conftest import signed_in
from tests.desk.test_review import late, manager
from tests.margin.conftest import job, joe, shop
from tests.margin.jobs import clocked, step, task_of

__all__ = ["job", "joe", "manager", "shop"]  # fixtures
pytestmark = pytest.mark.django_db(transaction=True)


def closed(job: Restoration, joe: User) -> Close:
    """Two weeks, the second with four hours where 42 minutes were quoted."""
    now = timezone.now()
    week = weeks.week_of(timezone.localdate(now)) - timedelta(days=14)
    closing.close_week(week=week, who="ada", now=now)
    late(job, joe)
    review.note(week=week + weeks.WEEK, words="Blast in one go", restoration=job, decided=True, who="ada", now=now)
    return closing.close_week(week=week + weeks.WEEK, who="ada", now=now)


def read(content: bytes) -> str:
    pages = pypdf.PdfReader(io.BytesIO(content)).pages
    return " ".join(" ".join(page.extract_text() for page in pages).split())


def test_it_says_of_each_job_what_was_kept_with_the_week(job: Restoration, joe: User) -> None:
    close = closed(job, joe)
    said = read(review_paper.render(close))
    (sheet,) = review_paper.sheets(close)
    assert sheet.change is not None
    assert sheet.change < 0
    for words in (
        str(job),
        text.money(sheet.left, "EUR"),
        "work takes longer than was thought",
        "Blast in one go",
        "Bikes in progress",
    ):
        assert " ".join(words.split()) in said
    assert sum(amount for _why, amount in sheet.why) == sheet.change


def test_what_happens_afterwards_changes_nothing_on_it(job: Restoration, joe: User) -> None:
    close = closed(job, joe)
    before = review_paper.html(close)
    began = timezone.now()
    clocked(joe, task_of(step(job, "Spray")), began, began + timedelta(hours=3))
    review.review(now=began + timedelta(hours=4))
    assert review_paper.html(close) == before


def test_the_sweep_asks_for_it_once_and_it_is_the_managers(manager: Client, job: Restoration, joe: User) -> None:
    close = closed(job, joe)
    now = timezone.now()
    for _time in range(2):
        review_paper.mend(now=now)
    rows = Row.objects.filter(handler=review_paper.PACK_HANDLER)
    assert rows.count() == Close.objects.count() == 2
    address = f"/review/weeks/{close.week}/pack.pdf"
    assert manager.get(address).status_code == 404
    assert "Its PDF is being made" in manager.get(f"/review/weeks/{close.week}/").content.decode()
    for row in rows:
        deliver(row.pk, now=now, worker="test")
    assert Pack.objects.count() == 2
    assert manager.get(address).content.startswith(b"%PDF")
    assert signed_in("bo", ROLE_DESK).get(address).status_code in (302, 403)
    assert manager.get("/review/weeks/never/pack.pdf").status_code == 404
    assert reviewing.week_words(close.week) in review_paper.html(close)
