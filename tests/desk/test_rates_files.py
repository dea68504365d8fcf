"""The rate book out to a file and in again: what comes back unchanged changes nothing, and all is noted or nothing."""

import csv
import io
from collections.abc import Iterator
from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import transaction
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from quotes.desk import example
from quotes.desk.models import Upload
from quotes.desk.rates import files, kinds, reading
from quotes.pricing.services import price_anew
from quotes.pricing.stages import offered
from shop.journal.models import Entry
from shop.rates.models import ConsumablePrice, GradeRate, Odds, PricePolicy, ServicePrice, TaxRate
from tests import workshop
from tests.desk.conftest import signed_in

DATED = (GradeRate, ConsumablePrice, ServicePrice, TaxRate, PricePolicy, Odds)


@pytest.fixture
def shop(db: None) -> workshop.Workshop:
    return workshop.workshop()


def counts() -> list[int]:
    return [model._default_manager.count() for model in DATED]


def text(*lines: str) -> bytes:
    return "\n".join(lines).encode()


def given(client: Client, content: bytes, name: str = "rates.csv") -> Any:
    """Give a file back and look what is in it."""
    answer = client.post(reverse("desk:rates_import"), {"file": SimpleUploadedFile(name, content)})
    assert answer.status_code == 302
    return client.get(answer["Location"])


def yes(client: Client) -> Any:
    return client.post(reverse("desk:rates_look", args=[Upload.objects.latest("pk").uid]))


def wrong(content: bytes) -> list[str]:
    book = reading.read(content, now=timezone.now())
    assert not book.changes
    return [str(item) for item in book.wrong]


@pytest.fixture(scope="module")
def demo(django_db_setup: None, django_db_blocker: Any) -> Iterator[Client]:
    with django_db_blocker.unblock(), transaction.atomic():
        now = timezone.now()
        example.load(today=timezone.localdate(now), now=now)
        yield signed_in("eve", "manager")
        transaction.set_rollback(True)


@pytest.mark.parametrize("kind", ["csv", "xlsx"])
def test_what_goes_out_and_comes_back_changes_nothing(demo: Client, django_db_blocker: Any, kind: str) -> None:
    with django_db_blocker.unblock():
        out = demo.get(reverse("desk:rates_export", args=[kind]))
        book = reading.read(out.content, now=timezone.now())
        assert (book.changes, book.wrong) == ([], [])
        lines = list(
            csv.reader(io.StringIO(demo.get(reverse("desk:rates_export", args=["csv"])).content.decode("utf-8-sig")))
        )
        things = len({tuple(line[:3]) if not line[3] else (line[0], line[2]) for line in lines[1:]})
        assert book.same >= things - 1  # the two whole-shop kinds have many lines each, yet are one thing each
        assert book.same == sum(1 for line in lines[1:] if not line[3] and len(line) > 4 and any(line[4:])) + 2


def test_a_changed_figure_is_shown_then_noted_from_its_day(shop: workshop.Workshop, manager: Client) -> None:
    day = timezone.localdate() + timedelta(days=3)
    content = text("kind,name,from,Charge-out rate per hour [EUR]", f"labour grades,Mechanic,{day},66.50")
    before = counts()
    page = given(manager, content)
    assert counts() == before
    (change,) = page.context["book"].changes
    assert change.differences() == [("Charge-out rate per hour", "€60.00", "€66.50")]
    assert yes(manager).status_code == 302
    row = GradeRate.objects.latest("pk")
    assert (row.valid_from, row.charge_rate_minor, row.cost_rate_minor) == (
        day,
        6650,
        3000,
    )  # the empty cell keeps what holds
    assert row.noted_by == "eve"


def test_a_file_is_noted_once_whoever_presses_how_often(shop: workshop.Workshop, manager: Client) -> None:
    given(manager, text("kind,name,from,Rate [%]", f"Taxes,VAT,{timezone.localdate()},21"))
    yes(manager)
    after = counts()
    assert TaxRate.objects.latest("pk").percent == 21
    again = manager.post(reverse("desk:rates_look", args=[Upload.objects.get().uid]), follow=True)
    assert "This file is noted already." in again.content.decode()
    assert counts() == after


def test_a_table_and_how_sure_a_price_is_come_in_too(shop: workshop.Workshop, manager: Client) -> None:
    day = timezone.localdate()
    content = text(
        "kind;name;from;Price breaks;Handled by;The price is;Who said so;The price holds until",
        f'Vendor work;Zinc plate;{day};"0: 9 | 20: 7,5";mechanic;told by phone;Mrs Fell;{day + timedelta(days=9)}',
    )
    given(manager, content)
    yes(manager)
    price = ServicePrice.objects.latest("pk")
    assert list(price.breaks.values_list("quantity", "rate_e4")) == [(0, 90000), (20, 75000)]
    assert (price.status, price.said_by, price.minimum_minor) == ("phoned", "Mrs Fell", 5000)


def test_the_policy_comes_in_figure_by_figure(shop: workshop.Workshop, manager: Client) -> None:
    day = timezone.localdate()
    content = text(
        "kind,name,from,value",
        f"How we price,Margin on labour [%],{day},35",
        f"How we price,Payment stage 1,{day},40; On order; with the order; the quote is accepted; 0",
        f"How we price,Payment stage 2,{day},60; Rest; at hand-over; the bike is ready; 5",
        f'"Fee for strip and inspect, chances and spreads",Common: found in [% of bikes],{day},55',
    )
    given(manager, content)
    yes(manager)
    policy = PricePolicy.objects.latest("pk")
    assert (policy.labour_margin, policy.material_margin, policy.assumptions) == (
        35,
        25,
        "Parts fit as they came.\nThe bike is complete.",
    )
    assert list(policy.stages.values_list("percent", "event", "days")) == [(40, "accepted", 0), (60, "ready", 5)]
    assert Odds.objects.latest("pk").common == 55


@pytest.mark.parametrize(
    ("lines", "sentence"),
    [
        (["kind,name,from,Pase", "x,y,z,1"], "row 1: The heading “Pase” is not known."),
        (["kind,from,value"], "row 1: There is no heading “name”."),
        (["kind,name,from,value"], "There are headings, but no prices below them."),
        ([], "The file is empty."),
        (["kind,name,from,value", "Wages,Mechanic,2026-03-02,1"], "row 2, kind: That is no kind of rate."),
        (
            ["kind,name,from,value", "Labour grades,Mechanik,2026-03-02,"],
            "row 2, name: There is no labour grade of that name. Did you mean “mechanic”?",
        ),
        (["kind,name,from,Rate [%]", "Taxes,VAT,March,1"], "row 2, from: Give a day as year-month-day"),
        (["kind,name,from,Rate [%]", "Taxes,VAT,2026-13-02,1"], "row 2, from: Give a day as year-month-day"),
        (["kind,name,from,Rate [%]", "Taxes,VAT,2026-03-02,-1"], "row 2, Rate [%]: “-1” is negative."),
        (["kind,name,from,Rate [%]", "Taxes,VAT,2026-03-02,lots"], "row 2, Rate [%]: “lots” is not a number."),
        (
            ["kind,name,from,Rate [%]", "Labour grades,mechanic,2026-03-02,2"],
            "row 2, Rate [%]: Labour grades have no such figure.",
        ),
        (
            ["kind,name,from,Rate [%]", "Taxes,VAT,2026-03-02,21", "Taxes,VAT,2026-03-02,22"],
            "row 3, name: The same thing and day is in row 2 already.",
        ),
        (
            ["kind,name,from,Cost per hour [EUR]", "Labour grades,mechanic,2026-03-02,30.005"],
            "row 2, Cost per hour [EUR]:",
        ),
        (
            ["kind,name,from,Price breaks", "Vendor work,Zinc plate,2026-03-02,5: 9"],
            "row 2, Price breaks: The first price break must begin at 0.",
        ),
        (
            ["kind,name,from,The price is", "Vendor work,Zinc plate,2026-03-02,sure"],
            "row 2, The price is: Choose one of these: seen in writing",
        ),
        (
            ["kind,name,from,Handled by", "Vendor work,Zinc plate,2026-03-02,Nobody"],
            "“Nobody” is not a labour grade of this shop.",
        ),
        (["kind,name,from,value", "How we price,Payment stage 1,2026-03-02,90; All; now; ready; 0"], "add up to 90 %"),
        (["kind,name,from,value", "How we price,Marginn,2026-03-02,90"], "row 2, name: There is no such figure."),
        (
            [
                "kind,name,from,value",
                '"Fee for strip and inspect, chances and spreads",common: found in [% of bikes],2026-03-02,1',
            ],
            "Give them in order",
        ),
    ],
)
def test_what_is_wrong_is_told_row_by_row_in_words(shop: workshop.Workshop, lines: list[str], sentence: str) -> None:
    said = wrong(text(*lines))
    assert len(said) == 1
    assert sentence in said[0]


@pytest.mark.parametrize("line", ["Taxes,VAT,2026-04-02,-5,", "Labour grades,mechanic,2026-03-02,,30.005"])
def test_one_mistake_and_nothing_is_noted(shop: workshop.Workshop, manager: Client, line: str) -> None:
    before, told = counts(), Entry.objects.count()
    headings = "kind,name,from,Rate [%],Cost per hour [EUR]"
    page = given(manager, text(headings, "Taxes,VAT,2026-03-02,21,", line))
    assert not page.context["book"].changes
    assert "row 3" in page.content.decode()
    assert "Note all of it" not in page.content.decode()
    assert yes(manager).status_code == 422
    assert (counts(), Entry.objects.count()) == (before, told)


def test_a_failure_on_the_way_leaves_nothing_noted(
    shop: workshop.Workshop, manager: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    day = timezone.localdate()
    given(
        manager,
        text(
            "kind,name,from,Rate [%],Pace against standard", f"Taxes,VAT,{day},21,", f"Labour grades,mechanic,{day},,2"
        ),
    )
    before = counts()

    note, calls = kinds.services.note_grade_rate, []

    def fail_when_it_is_for_good(**said: Any) -> Any:
        calls.append(said)
        if len(calls) > 1:  # the first call is only imagined, while the file is read
            assert TaxRate.objects.count() == before[3] + 1
            raise LookupError
        return note(**said)

    monkeypatch.setattr(kinds.services, "note_grade_rate", fail_when_it_is_for_good)
    with pytest.raises(LookupError):
        yes(manager)
    assert counts() == before
    assert Upload.objects.get().taken_at is None


def test_the_look_says_what_all_of_it_does_to_open_drafts(shop: workshop.Workshop, manager: Client) -> None:
    of = workshop.restoration()
    workshop.frame(of, shop)
    draft = workshop.draft(of)
    day = timezone.localdate()
    page = given(
        manager,
        text(
            "kind,name,from,Rate [%],Cost per hour [EUR]", f"Taxes,VAT,{day},23,", f"Labour grades,mechanic,{day},,33"
        ),
    )
    ((shown, found),) = page.context["effects"]
    assert shown == draft
    yes(manager)
    price_anew(draft=draft, today=day, who="eve", now=timezone.now())
    explained = offered(draft).found.explained
    assert explained is not None
    assert explained.result.total == found.anew_with.total != found.anew.total


def test_a_name_like_a_formula_stays_text_both_ways(shop: workshop.Workshop, manager: Client) -> None:
    shop.paint.name = "=1+1 enamel"
    shop.paint.save()
    out = manager.get(reverse("desk:rates_export", args=["csv"])).content
    assert b"'=1+1 enamel" in out
    book = reading.read(out, now=timezone.now())
    assert (book.changes, book.wrong) == ([], [])


def test_a_column_for_every_figure(shop: workshop.Workshop) -> None:
    assert len(set(files.columns())) == len(files.columns())
    rows = list(files.rows(timezone.localdate()))
    assert {len(row) for row in rows if row[3] is None and len(row) > 4} == {len(files.columns())}
    assert Decimal(60) in next(row for row in rows if row[1] == "mechanic")
