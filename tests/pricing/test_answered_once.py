"""A quote on its customer's page is answered once, whatever races (RELIABILITY B-10). Real processes, real commits."""

import uuid
from functools import partial
from typing import Any

import pytest
from django.utils import timezone

from quotes.pricing.models import Draft, Instalment, IssuedQuote, IssuedStep, Link, Outcome
from quotes.pricing.services import CannotIssueError, SettledError
from shop.journal.models import Entry
from shop.restorations.models import FinishAgreement, Part
from shop.routes.models import Authorisation
from tests.faults.processes import race
from tests.pricing.customers import PAGE, customer, issued_now, link_to, no, other_finish, yes
from tests.pricing.workshop import Workshop, answer, issue

pytestmark = pytest.mark.django_db(transaction=True)

AT_ONCE = 10
SAMPLE, ALL = 6, 1000


@pytest.fixture
def quote(draft: Draft, shop: Workshop) -> IssuedQuote:
    """With one deviation of finish to sign for."""
    other_finish(Part.objects.order_by("pk")[0], shop.nickel, "black, not nickel")
    return issued_now(draft)


def copies(quote: IssuedQuote, count: int) -> list[IssuedQuote]:
    """The same offer again and again, each with steps of its own."""
    made = []
    for number in range(1, count + 1):
        fields = {field.attname: getattr(quote, field.attname) for field in IssuedQuote._meta.concrete_fields}
        fields |= {"id": None, "uid": uuid.uuid4(), "number": quote.number + number, "version": quote.version + number}
        made.append(IssuedQuote.objects.create(**fields))
        steps = [IssuedStep(quote=made[-1], step_uid=uuid.uuid4(), part_uid=uuid.uuid4()) for _ in range(3)]
        IssuedStep.objects.bulk_create(steps)
    return made


def signing(link: Link) -> dict[str, Any]:
    return yes(link, signed=[str(Part.objects.order_by("pk")[0].uid)])


def accept_all(doors: list[tuple[Link, str]], number: int) -> list[int]:
    """Each process says its own name, so that it is seen whose answer was kept."""
    return [
        customer(secret).post(PAGE, signing(link) | {"said_by": f"Voice {number}"}).status_code
        for link, secret in doors
    ]


def _each_is_accepted_once(quote: IssuedQuote, count: int) -> None:
    quotes = copies(quote, count)
    doors = [link_to(one) for one in quotes]
    for start in range(0, count, SAMPLE):
        some = doors[start : start + SAMPLE]
        told = race(partial(accept_all, some), AT_ONCE)
        assert told == [[302] * len(some)] * AT_ONCE  # whoever comes second is shown what was settled, calmly
    outcomes = Outcome.objects.filter(quote__in=quotes)
    assert outcomes.count() == outcomes.filter(kind="accepted", how="online").count() == count
    assert Entry.objects.filter(what="quote accepted").count() == count
    assert FinishAgreement.objects.count() == count
    for one in quotes:
        uids = set(one.steps.values_list("step_uid", flat=True))
        assert Authorisation.objects.filter(step_uid__in=uids, reference=str(one)).count() == len(uids) == 3
        assert Instalment.objects.filter(quote=one).count() == 2
    print(f"{count} quotes, {AT_ONCE} answers each, kept of {len(set(outcomes.values_list('who', flat=True)))} voices")


def test_ten_at_once_accept_each_quote_once(quote: IssuedQuote) -> None:
    _each_is_accepted_once(quote, SAMPLE)


@pytest.mark.long
def test_ten_at_once_accept_each_of_a_thousand_quotes_once(quote: IssuedQuote) -> None:
    _each_is_accepted_once(quote, ALL)


def test_accepting_declining_withdrawing_and_a_new_version_at_once_leave_one_outcome(
    quote: IssuedQuote, draft: Draft
) -> None:
    """Eight on the customer's page, two of them declining; the desk withdraws; somebody issues the next version."""
    link, secret = link_to(quote)

    def act(number: int) -> str:
        if number == 0:
            try:
                return str(issue(Draft.objects.get(pk=draft.pk), today=timezone.localdate(), now=timezone.now()))
            except CannotIssueError:  # an answer has moved the draft on
                return "look again"
        if number == 1:
            given: dict[str, Any] = {"reason": "dear", "today": timezone.localdate(), "now": timezone.now()}
            try:
                return f"{answer(IssuedQuote.objects.get(pk=quote.pk), Outcome.Kind.WITHDRAWN, **given).kind} by hand"
            except SettledError:
                return "too late"
        sent = no(link) if number in {2, 3} else signing(link)
        return str(customer(secret).post(PAGE, sent).status_code)

    told = race(act, AT_ONCE)
    assert told[2:] == ["302"] * 8
    outcome = Outcome.objects.get(quote=quote)
    is_accepted = outcome.kind == "accepted"
    kept = Entry.objects.filter(what__in=["quote accepted", "quote declined", "quote withdrawn"])
    assert kept.filter(subject_uid=quote.uid).count() == 1
    mine = set(quote.steps.values_list("step_uid", flat=True))
    assert set(Authorisation.objects.values_list("step_uid", flat=True)) == (mine if is_accepted else set())
    assert FinishAgreement.objects.count() == int(is_accepted)
    assert (told[1] == "withdrawn by hand") == (outcome.kind == "withdrawn" and outcome.reason == "dear")
