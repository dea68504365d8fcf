import re
from decimal import Decimal

import pytest
from django.db import connection
from django.db.models import OuterRef, Subquery, Value
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from django.utils.formats import date_format

from quotes.desk import in_workshop, today
from quotes.pricing.models import IssuedQuote
from quotes.pricing.selectors import agreed_net
from shop.outbox.models import Heartbeat, Row
from shop.rates.loading import load_starter
from shop.rates.selectors import odds
from shop.restorations.models import Part, Restoration
from shop.restorations.services import change_scope
from shop.routes.gate import override
from shop.routes.models import Authorisation, Plan, PlannedStep, Step
from shop.routes.planning import hold
from shop.routes.services import authorise
from tests.desk import rows
from tests.desk.rows import day, quote, restoration
from tests.workshop import NOW, WHO, Workshop, frame, workshop
from tests.workshop import restoration as bike

pytestmark = pytest.mark.django_db


def text(client: Client, address: str = "/") -> str:
    """The page as it is read: without tags, with single spaces."""
    response = client.get(address)
    assert response.status_code == 200
    main = response.content.decode().split("<main", 1)[1].split("</main>")[0]
    return " ".join(re.sub(r"<[^>]*>", " ", main).split())


def after(page: str, title: str) -> str:
    assert title in page, page
    return page.split(title, 1)[1]


# who sees what


def test_a_stranger_is_asked_to_sign_in(stranger):
    assert stranger.get("/").url.startswith("/sign-in/")


def test_a_person_without_a_role_reads_whom_to_ask(nobody):
    page = text(nobody)
    assert "Ask the manager to give you a role." in page
    assert "Begin" not in page


@pytest.mark.parametrize("role", ["front_desk", "manager", "alone"])
def test_an_empty_shop_gets_a_first_step_to_press(role, request):
    client = request.getfixturevalue(role)
    load_starter(guessed=True, today=day(0), **WHO)
    page = client.get("/").content.decode()
    assert '<a class="button button-main" href="/restorations/begin/">Begin the first restoration</a>' in page


@pytest.mark.parametrize(("role", "may"), [("front_desk", False), ("manager", True), ("alone", True)])
def test_a_shop_that_is_not_set_up_says_so_first(role, may, request):
    page = request.getfixturevalue(role).get("/").content.decode()
    assert "This workshop is not set up yet" in page
    assert ('href="/workshop/set-up/"' in page) is may
    assert "Begin the first restoration" not in page


@pytest.mark.parametrize(
    ("role", "seen", "not_seen"),
    [
        ("front_desk", ["Drafts in hand"], ["On offer"]),
        ("manager", ["Drafts in hand", "On offer"], []),
        ("alone", ["Drafts in hand", "On offer"], []),
    ],
)
def test_each_role_lands_on_its_own(role, seen, not_seen, request):
    restoration()
    page = text(request.getfixturevalue(role))
    assert [words for words in seen if words not in page] == []
    assert [words for words in not_seen if words in page] == []


# the front desk


def test_what_waits_comes_in_the_order_in_which_it_lapses_with_its_price(front_desk):
    quote(restoration("Later"), until=day(30), net=123_400)
    quote(restoration("Sooner"), until=day(3))
    quote(restoration("Now"), until=day(0))
    page = after(text(front_desk), "Waiting for an answer")
    assert page.index("Now") < page.index("Q00003 lapses today") < page.index("Sooner")
    assert page.index("Sooner") < page.index("Q00002 lapses in 3 days") < page.index("Later")
    assert "Q00001 open until" in page
    assert "€1,480.80" in page
    assert "Lapsed without an answer" not in page
    assert "Drafts in hand" not in page


def test_a_ballpark_that_is_out_is_said_and_one_that_ran_out_is_a_draft_again(front_desk):
    rough = quote(restoration("Guessed"), until=day(9), stage="ballpark")
    page = text(front_desk, "/restorations/")
    assert f"ballpark {rough} out" in page
    assert "draft" not in after(page, "Guessed")
    quote(restoration("Long ago"), until=day(-3), stage="ballpark")
    page = after(text(front_desk, "/restorations/"), "Long ago")
    assert "draft" in page[: page.index("Guessed")]


def test_a_ballpark_waits_for_no_answer_and_does_not_lapse(front_desk):
    quote(restoration("Guessed"), until=day(-3), stage="ballpark")
    page = text(front_desk)
    assert "Drafts in hand" in page
    assert "Lapsed without an answer" not in page
    assert "Waiting for an answer" not in page


def test_what_was_won_counts_the_offer_with_its_inspection_and_its_variations(manager):
    bike = restoration()
    for stage, net in (("inspect", 24_000), ("main", 500_000), ("main", 600_000), ("variation", 30_000)):
        quote(bike, until=day(20), net=net, outcome="accepted", stage=stage)
    assert "€6,540.00" in text(manager)  # of two main offers for one bike only the newest


@pytest.mark.django_db
def test_what_is_agreed_so_far_is_inspection_newest_offer_and_variations():
    bike = restoration()
    assert agreed_net(bike) is None
    for stage, net in (("inspect", 24_000), ("main", 500_000), ("main", 600_000), ("variation", -30_000)):
        quote(bike, until=day(20), net=net, outcome="accepted", stage=stage)
    quote(bike, until=day(20), net=70_000, stage="variation")
    assert agreed_net(bike) == Decimal("5940.00")


def test_one_day_is_one_day(front_desk):
    quote(restoration(), until=day(1))
    assert "Q00001 lapses in 1 day " in text(front_desk)


def test_what_lapsed_comes_before_what_waits(front_desk):
    quote(restoration("Old"), until=day(-1))
    quote(restoration("New"), until=day(1))
    page = after(text(front_desk), "The most pressing first:")
    assert page.index("Lapsed without an answer") < page.index("Waiting for an answer")
    page = after(page, "Ask the customer, then record")
    assert "Q00001 lapsed after" in page
    assert page.index("Old") < page.index("Waiting for an answer")


@pytest.mark.parametrize(
    ("parts", "drafted", "words"),
    [(0, True, "draft no parts yet"), (1, False, "no draft yet"), (0, False, "no draft yet no parts yet")],
)
def test_what_cannot_be_priced_yet_says_what_is_missing(front_desk, parts, drafted, words):
    restoration(parts=parts, drafted=drafted)
    page = after(text(front_desk), "Not ready to price")
    assert words in page


def test_a_part_out_of_scope_is_no_part(front_desk):
    restoration()
    Part.objects.update(removed_at=timezone.now())
    assert "no parts yet" in after(text(front_desk), "Not ready to price")


@pytest.mark.parametrize(
    ("outcome", "changed", "in_hand"),
    [
        ("accepted", False, False),
        ("accepted", True, True),
        ("declined", False, False),
        ("declined", True, True),
        ("withdrawn", False, True),
        ("", True, False),
    ],
)
def test_a_draft_is_in_hand_while_somebody_has_to_finish_it(front_desk, outcome, changed, in_hand):
    row = restoration()
    quote(row, until=day(9), outcome=outcome)
    if changed:
        change_scope(row)
    page = text(front_desk)
    assert ("Drafts in hand" in page) is in_hand
    assert ("changed since" in page) is (changed and (in_hand or not outcome))
    assert ("€120.00" in page) is (in_hand or not outcome)


def test_when_all_is_settled_nothing_waits(front_desk):
    quote(restoration(), until=day(-30), outcome="accepted", answered=-10)
    page = text(front_desk)
    assert "Nothing waits for you" in page
    assert "All restorations" in page


def test_a_long_list_is_cut_and_leads_to_all_of_it(front_desk):
    for number in range(today.SHOWN + 1):
        restoration(f"Bike {number:02}")
    html = front_desk.get("/").content.decode()
    assert html.count('class="line"') == today.SHOWN
    assert '<a href="/restorations/?standing=draft">All: Drafts in hand</a>' in html


def test_no_draft_is_priced_for_the_first_page(front_desk, monkeypatch):
    row = bike()
    frame(row, workshop())
    monkeypatch.setattr("quotes.engine.rollup.price", lambda _given: pytest.fail("priced"))
    monkeypatch.setattr("quotes.pricing.selectors.priced", lambda _draft: pytest.fail("priced"))
    assert "Heron 250" in text(front_desk)


# the manager


def test_the_manager_reads_sums_before_tax(manager):
    quote(restoration(), until=day(9), net=10_000)
    quote(restoration(), until=day(9), net=25_000)
    quote(restoration(), until=day(-9), net=1)
    quote(restoration(), until=day(9), net=70_000, outcome="accepted")
    quote(restoration(), until=day(9), net=3, outcome="declined")
    page = text(manager)
    assert "On offer €350.00 2 open quotes, before tax" in page
    assert "Accepted €700.00 1 quote since 1 Jan" in page


def test_what_was_accepted_last_year_is_not_counted():
    row = quote(restoration(), until=day(9), outcome="accepted")
    this_year = today.for_manager(rows.today())
    next_year = today.for_manager(rows.today().replace(year=rows.today().year + 1))
    assert (this_year.accepted_count, this_year.accepted_net) == (1, Decimal("100.00"))
    assert (next_year.accepted_count, next_year.accepted_net) == (0, Decimal("0.00"))
    assert row.outcome.kind == "accepted"


def test_open_quotes_below_the_floor_stand_apart_with_their_reason(manager, front_desk):
    quote(restoration("Cheap"), until=day(9), reason="A friend of the house")
    quote(restoration("Settled"), until=day(9), reason="Long ago", outcome="accepted")
    page = after(text(manager), "Open below the floor")
    assert "Cheap" in page
    assert "A friend of the house" in page
    assert "Long ago" not in page
    assert "A friend of the house" not in text(front_desk)


def owed(state: str) -> None:
    Row.objects.create(
        key=state,
        handler="note",
        payload="{}",
        due_at=NOW,
        created_at=NOW,
        state=state,
        done_at=NOW if state == "done" else None,
    )


@pytest.mark.parametrize("role", ["front_desk", "manager"])
def test_background_jobs_that_need_a_person_are_shown_to_the_manager(role, request):
    Heartbeat.objects.create(name="sweep", at=timezone.now(), by="w1")
    owed("dead")
    owed("unknown")
    owed("done")
    page = text(request.getfixturevalue(role))
    assert ("2 background jobs need you." in page) is (role == "manager")
    assert "nobody runs them" not in page


def test_the_manager_is_told_when_nobody_runs_what_waits(manager):
    assert "nobody runs them" not in text(manager)
    owed("pending")
    assert "Background jobs wait, and nobody runs them." in text(manager)


# what is agreed


def agreed(part: Part) -> None:
    uids = part.steps.filter(removed_at__isnull=True).values_list("uid", flat=True)
    authorise(step_uids=uids, kind=Authorisation.Kind.QUOTE, reference="Q00001", now=NOW)


# the same for a small shop and a large one


def fill(count: int) -> None:
    """Of each kind of line ``count``, and an agreed restoration of as many parts."""
    for number in range(count):
        restoration(f"Draft {number}")
        restoration(f"Bare {number}", parts=0, drafted=False)
        for until, outcome in ((9, ""), (-9, ""), (9, "accepted")):
            quote(restoration(f"Quoted {number}"), until=day(until), outcome=outcome, reason="because")


def queries(client: Client, address: str) -> int:
    client.get(address)
    with CaptureQueriesContext(connection) as asked:
        assert client.get(address).status_code == 200
    return len(asked)


def test_the_first_page_asks_as_much_of_a_large_shop_as_of_a_small_one(alone):
    shop = workshop()
    agreed(frame(bike(), shop))
    fill(1)
    few = queries(alone, "/")
    fill(99)
    row = bike()
    for number in range(20):
        agreed(frame(row, shop, name=f"Part {number}"))
    assert Restoration.objects.count() > 500
    assert IssuedQuote.objects.count() == 300
    assert queries(alone, "/") == few
    assert few < 70


# in the workshop


def planned(bike: Restoration, *, kept: int, **leave: int) -> None:
    """A plan kept for an accepted bike: the day it is ready, and the days on which steps of the named parts must leave."""
    at = timezone.now()
    plan = Plan.objects.create(
        restoration=bike,
        scope_version=bike.scope_version,
        rests_on="0" * 64,
        made_at=at,
        starts_on=day(0),
        ready_certain=day(kept),
        ready_likely=day(kept),
        ready_kept=day(kept),
        content="{}",
    )
    times = dict.fromkeys(("earliest_start", "earliest_finish", "latest_start", "latest_finish"), at)
    for name, offset in leave.items():
        for step in Step.objects.filter(part__restoration=bike, part__name=name, removed_at__isnull=True):
            PlannedStep.objects.create(plan=plan, step=step, leave_by=day(offset), **times)


def accepted(title: str, shop: Workshop, *parts: str, stage: str = "main") -> Restoration:
    row = bike(title)
    for name in parts:
        agreed(frame(row, shop, name=name, finish=shop.zinc))
    row.refresh_from_db()
    quote(row, until=day(20), outcome="accepted", stage=stage)
    return row


@pytest.mark.parametrize("role", ["front_desk", "manager", "alone"])
def test_an_accepted_bike_stands_in_the_workshop_with_its_day_and_what_must_leave_next(role, request):
    planned(accepted("Agreed bike", workshop(), "Hub", "Lever", "Spring"), kept=40, Hub=30, Lever=5, Spring=60)
    page = after(text(request.getfixturevalue(role)), "what must leave next.")
    written = {offset: date_format(day(offset), "DATE_FORMAT") for offset in (5, 30, 40, 60)}
    assert page.strip().startswith(f"Agreed bike Jo Fenwick Ready {written[40]}")
    assert f"Zinc plate leaves for Brook Platers by {written[5]} within a week" in page
    assert f"Zinc plate leaves for Brook Platers by {written[30]}" in page
    assert written[60] not in page


def test_what_waits_for_finish_evidence_is_not_said_to_leave_without_it(front_desk):
    planned(accepted("Agreed bike", workshop(), "Lever"), kept=40, Lever=9)
    page = after(text(front_desk), "what must leave next.")
    written = date_format(day(9), "DATE_FORMAT")
    assert f"Zinc plate leaves for Brook Platers by {written} waits for finish evidence" in page
    steps = [Step.objects.get(service__isnull=False)]
    override(steps=steps, who_decided="Ada", reason="known", odds=odds(day(0)), **WHO)
    assert "waits for finish evidence" not in text(front_desk)


def test_parts_of_one_lot_leave_once_and_days_gone_by_are_not_next(front_desk):
    planned(accepted("Agreed bike", workshop(), "Hub", "Lever", "Spring"), kept=40, Hub=9, Lever=9, Spring=-3)
    page = after(text(front_desk), "what must leave next.")
    assert page.count("leaves for") == 1


def test_a_step_that_is_not_agreed_leaves_for_nowhere(front_desk):
    shop = workshop()
    row = accepted("Agreed bike", shop, "Hub")
    frame(row, shop, name="Lever", finish=shop.zinc)
    row.refresh_from_db()
    planned(row, kept=40, Lever=9)
    assert "leaves for" not in text(front_desk)


def test_until_the_main_offer_is_accepted_no_day_of_the_whole_bike_stands_there(front_desk):
    row = accepted("Agreed bike", workshop(), "Hub", stage="inspect")
    planned(row, kept=40, Hub=9)
    page = after(text(front_desk), "what must leave next.")
    assert page.strip().startswith(
        "Agreed bike Jo Fenwick Stripping and inspecting is agreed; the main offer is next. Zinc plate leaves for"
    )
    assert "Ready" not in page
    quote(row, until=day(20), outcome="accepted")
    page = after(text(front_desk), "what must leave next.")
    assert f"Ready {date_format(day(40), 'DATE_FORMAT')}" in page
    assert "the main offer is next" not in page


def test_a_step_that_nobody_agreed_to_brings_no_bike_to_the_top(front_desk):
    shop = workshop()
    sooner = accepted("Only inspected", shop, "Hub", stage="inspect")
    frame(sooner, shop, name="Lever", finish=shop.zinc)
    sooner.refresh_from_db()
    planned(sooner, kept=40, Lever=2, Hub=20)
    planned(accepted("Agreed bike", shop, "Hub"), kept=50, Hub=10)
    page = after(text(front_desk), "what must leave next.")
    assert page.index("Agreed bike") < page.index("Only inspected")


def test_what_must_leave_first_comes_first(front_desk):
    shop = workshop()
    planned(accepted("Later bike", shop, "Hub"), kept=40, Hub=20)
    planned(accepted("Sooner bike", shop, "Hub"), kept=50, Hub=10)
    accepted("No plan yet", shop, "Hub")
    page = after(text(front_desk), "what must leave next.")
    assert page.index("Sooner bike") < page.index("Later bike") < page.index("No plan yet") < page.index("not planned")


@pytest.mark.parametrize(("kept", "late"), [(10, False), (13, True)])
def test_a_bike_that_will_be_later_than_promised_says_by_how_much(front_desk, monkeypatch, kept, late):
    row = accepted("Agreed bike", workshop(), "Hub")
    planned(row, kept=kept)
    promised = Subquery(Plan.objects.filter(pk=OuterRef("pk")).annotate(d=Value(day(10))).values("d")[:1])
    monkeypatch.setattr(in_workshop, "_promised", lambda: promised)
    assert ("3 days later than promised" in text(front_desk)) is late


def test_a_held_bike_says_why(front_desk):
    row = accepted("Agreed bike", workshop(), "Hub")
    hold(restoration=row, first=day(0), last=day(3), reason="Hub", kind="part", who="ada", now=timezone.now())
    assert "held: waiting for a part" in after(text(front_desk), "what must leave next.")


def test_the_sentence_at_the_top_leads_to_what_it_counts(front_desk):
    quote(restoration(), until=day(-1))
    for number in range(3):
        restoration(f"Draft {number}")
    html = front_desk.get("/").content.decode()
    led = re.findall(r'<a href="#(in-\w+)">([^<]+)</a>&nbsp;<b class="figure">(\d+)</b>', html)
    assert led == [("in-lapsed", "Lapsed without an answer", "1"), ("in-draft", "Drafts in hand", "3")]
    for name, _title, _count in led:
        assert html.count(f'id="{name}"') == 1


def test_who_does_everything_finds_what_may_wait_folded_away(alone, front_desk):
    quote(restoration(), until=day(-1))
    restoration("Draft")
    for client, shut in ((front_desk, 0), (alone, 1)):
        html = client.get("/").content.decode()
        assert html.count('<details class="card fold">') == shut
        assert html.count('<details class="card fold" open>') == 2 - shut


def test_the_manager_reads_what_is_still_to_come_in(manager, front_desk):
    quote(restoration(), until=day(9), net=70_000, outcome="accepted")
    assert "Still to come in €840.00 1 accepted bike, with tax" in text(manager)
    assert "Still to come in" not in text(front_desk)
