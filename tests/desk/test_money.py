"""The money page of one job: what it shows, who may see it, and what can be done there."""

import re
from datetime import date, timedelta
from typing import Any
from uuid import UUID, uuid4

import pytest
from django.db import connection
from django.http import HttpResponse
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from quotes.pricing.models import Draft, Instalment, IssuedQuote, Receipt
from quotes.pricing.money.money_in import standing
from quotes.pricing.services import issue, record_outcome
from shop.rates.models import PaymentStage, PricePolicy
from shop.rates.services import note_policy
from shop.restorations.intake import change_intake, open_intake
from shop.restorations.models import Restoration
from shop.routes.models import Hold, Override, Step
from shop.routes.planning import hold
from tests.planned import bought, fresh_draft, lever
from tests.pricing.paid import STAGED
from tests.routes.aways import out
from tests.workshop import SINCE, WHO, Workshop, frame, restoration, workshop

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop() -> Workshop:
    made = workshop()
    restage()
    return made


def restage() -> None:
    """Customers of this workshop pay in three stages, from the beginning."""
    policy = PricePolicy.objects.get()
    names = ("labour", "overhead", "material", "vendor", "bought_in")
    margins = {f"{name}_margin": getattr(policy, f"{name}_margin") for name in names}
    note_policy(
        valid_from=SINCE, stages=STAGED, handling_grade=policy.handling_grade, floor=policy.floor, **margins, **WHO
    )
    assert PaymentStage.objects.filter(policy__revision=2).count() == 3


def now_by() -> dict[str, Any]:
    return {"who": "ada", "now": timezone.now()}


def day(offset: int = 0) -> date:
    return timezone.localdate() + timedelta(days=offset)


def accept(of: Restoration) -> IssuedQuote:
    draft = fresh_draft(of)
    Draft.objects.filter(pk=draft.pk).update(priced_on=day())
    draft.refresh_from_db()
    seen = {"seen_scope": of.scope_version, "seen_draft": draft.version, "today": day()}
    quote = issue(draft=draft, guesses_are_told=True, **seen, **now_by())
    record_outcome(quote=quote, kind="accepted", said_by="Jo", how="phone", today=day(), **now_by())
    return quote


@pytest.fixture
def job(shop: Workshop) -> Restoration:
    """A frame with a seal to buy and a lever to be plated, accepted today; nothing is paid."""
    made = restoration()
    bought(frame(made, shop))
    lever(made, shop)
    accept(made)
    return made


def text(html: str) -> str:
    main = html.split("<main", 1)[1].split("</main>")[0]
    return " ".join(re.sub(r"<[^>]*>", " ", main).split())


def page(client: Client, of: Restoration) -> str:
    answer = client.get(reverse("desk:money", args=[of.uid]))
    assert answer.status_code == 200
    return text(answer.content.decode())


def send(client: Client, name: str, *args: Any, **given: Any) -> HttpResponse:
    return client.post(reverse(f"desk:{name}", args=args), given)


def pay(client: Client, of: Restoration, amount: str, **changes: Any) -> HttpResponse:
    given = {
        "uid": uuid4(),
        "amount_minor": amount,
        "received_on": day().isoformat(),
        "how": "transfer",
        "reference": "",
    }
    return send(client, "note_receipt", of.uid, **(given | changes))


def step(name: str) -> Step:
    return next(one for one in Step.objects.select_related("service") if str(one) == name)


# --- who may ---

ADDRESSES = {
    "money": lambda of: ("get", [of.uid]),
    "note_receipt": lambda of: ("post", [of.uid]),
    "note_refund": lambda of: ("post", [of.uid]),
    "reverse_receipt": lambda _of: ("post", [Receipt.objects.get().uid]),
    "reach": lambda of: ("post", [of.uid, "coated"]),
    "unreach": lambda of: ("post", [of.uid, "coated"]),
    "let_go": lambda of: ("post", [of.uid]),
}


@pytest.mark.parametrize("name", ADDRESSES)
def test_money_is_for_desk_and_manager(
    job: Restoration, front_desk: Client, mechanic: Client, nobody: Client, stranger: Client, name: str
) -> None:
    pay(front_desk, job, "1")
    method, args = ADDRESSES[name](job)
    address = reverse(f"desk:{name}", args=args)
    assert [getattr(who, method)(address).status_code for who in (mechanic, nobody)] == [403, 403]
    assert getattr(stranger, method)(address).headers["Location"].startswith("/sign-in/")
    assert Receipt.objects.count() == 1


def test_the_manager_sees_it_too_and_only_what_is_there_is_found(job: Restoration, manager: Client) -> None:
    assert "How it stands" in page(manager, job)
    assert manager.get(reverse("desk:money", args=[UUID(int=0)])).status_code == 404
    left = manager.get(reverse("desk:note_receipt", args=[job.uid]))
    assert left["Location"] == reverse("desk:money", args=[job.uid])


# --- what it shows ---


def test_before_anything_is_agreed_it_says_so_and_takes_money_all_the_same(shop: Workshop, front_desk: Client) -> None:
    of = restoration()
    assert "Nothing is agreed yet" in page(front_desk, of)
    assert pay(front_desk, of, "50").status_code == 302
    assert "R00001 €50.00" in page(front_desk, of)


def test_it_says_what_is_agreed_due_received_and_next(job: Restoration, front_desk: Client) -> None:
    found = standing(job, day())
    shown = page(front_desk, job)
    assert f"Still to come in €{found.agreed:,.2f}" in shown
    assert f"€{found.due:,.2f} to ask for" in shown
    assert f"Next payment €{found.payments[0].amount:,.2f} · Deposit" in shown
    for payment in found.payments:
        assert f"{payment.name} Q00001" in shown
    assert "No work is booked here yet" not in shown.split("Exposure")[0]  # nothing received: no liability to speak of
    assert "there is no figure to show" in shown
    assert f"Together €{found.agreed:,.2f} €0.00" in shown


def test_late_is_said_with_its_day_and_holds_everything_back(job: Restoration, front_desk: Client) -> None:
    Instalment.objects.filter(name="Deposit").update(reached_on=day(-5), due_on=day(-5))
    late = standing(job, day()).late
    shown = page(front_desk, job)
    assert f"€{late:,.2f} late, due since" in shown
    assert f"€{late:,.2f} is late: nothing more goes out" in shown
    assert "may go out" not in shown.split("What goes out or is bought")[1]


def test_a_deposit_is_shown_as_what_is_owed_as_work(job: Restoration, front_desk: Client) -> None:
    pay(front_desk, job, "120.00")
    assert "€100.00 before tax was received for work still to be done." in page(front_desk, job)


def test_what_leaves_is_listed_with_what_it_waits_for(job: Restoration, front_desk: Client) -> None:
    """By hand: the seal costs 9.00, at a margin of 20 % 11.25, with tax 13.50; the plating its minimum of 50.00, so 62.50
    and with tax 75.00. With 80.00 in, the seal goes first by its day, and the plating is 8.50 short.
    """
    pay(front_desk, job, "80")
    shown = page(front_desk, job).split("What goes out or is bought")[1]
    rows = sorted(re.findall(r"(Seal|Zinc plate) .{0,40}?(may go out|waits until €[\d.]+ more is in)", shown))
    assert rows == [("Seal", "may go out"), ("Zinc plate", "waits until €8.50 more is in")]
    assert "€13.50" in shown
    assert "€75.00 €88.50" in shown


def test_what_is_paid_for_may_still_wait_for_finish_evidence(job: Restoration, front_desk: Client) -> None:
    pay(front_desk, job, "1000")
    answer = front_desk.get(reverse("desk:money", args=[job.uid])).content.decode()
    rows = re.findall(r"(Seal|Zinc plate) .{0,40}?(may go out|waits for finish evidence)", text(answer))
    assert sorted(rows) == [("Seal", "may go out"), ("Zinc plate", "waits for finish evidence")]
    assert f'href="{reverse("desk:finish", args=[step("Zinc plate").part.uid])}"' in answer


def test_what_is_paid_for_may_still_wait_for_numbers(job: Restoration, front_desk: Client) -> None:
    pay(front_desk, job, "1000")
    intake = open_intake(restoration=job, came_on=day(), **now_by())
    change_intake(intake=intake, changes={"papers_frame_number": "H1235"}, **now_by())
    shown = page(front_desk, job).split("What goes out or is bought")[1]
    assert shown.count("waits for numbers that match") == 2
    assert "may go out" not in shown


def test_held_days_and_storage_stand_there(job: Restoration, front_desk: Client) -> None:
    hold(restoration=job, first=day(-3), kind="unpaid", reason="the deposit", **now_by())
    shown = page(front_desk, job)
    assert "a payment is missing" in shown
    assert "until it is let go" in shown
    assert ": 4 days, none charged." in shown


def test_the_account_is_what_was_agreed_while_nothing_is_booked(job: Restoration, front_desk: Client) -> None:
    pay(front_desk, job, "100")
    found = standing(job, day())
    shown = page(front_desk, job).split("Final account as it looks now")[1]
    assert f"Together €{found.agreed:,.2f} Received €100.00 Still to come in €{found.to_come:,.2f}" in shown


# --- what can be done ---


def test_a_receipt_is_noted_and_what_it_pays_is_seen(job: Restoration, front_desk: Client) -> None:
    deposit = standing(job, day()).due
    assert pay(front_desk, job, str(deposit), reference="Bank").status_code == 302
    shown = page(front_desk, job)
    assert "The receipt is noted." in shown
    assert "nothing is due" in shown
    assert Receipt.objects.get().reference == "Bank"
    assert Receipt.objects.get().recorded_by == "ada"


@pytest.mark.parametrize(
    ("changes", "field", "sentence"),
    [
        ({"amount_minor": ""}, "amount_minor", "Fill this in."),
        ({"amount_minor": "0"}, "amount_minor", "Nothing was received. Give an amount."),
        ({"amount_minor": "-3"}, "amount_minor", "Give 0 or more."),
        ({"amount_minor": "1.234"}, "amount_minor", "Give 2 decimal places at most."),
        ({"received_on": "2999-01-01"}, "received_on", "This day is still to come."),
        ({"received_on": ""}, "received_on", "Fill this in."),
        ({"how": "shells"}, "how", "Choose one from the list."),
    ],
)
def test_a_wrong_receipt_is_told_at_its_field_and_what_was_typed_stays(
    job: Restoration, front_desk: Client, changes: dict[str, str], field: str, sentence: str
) -> None:
    answer = pay(front_desk, job, "7.25", **({"reference": "my words"} | changes))
    assert answer.status_code == 422
    assert sentence in answer.context["receipt_form"].errors[field][0]
    assert 'value="my words"' in answer.content.decode()
    assert not Receipt.objects.exists()


def test_the_same_form_sent_twice_notes_one_receipt(job: Restoration, front_desk: Client) -> None:
    form = uuid4()
    assert [pay(front_desk, job, "9", uid=form).status_code for _time in range(2)] == [302, 302]
    assert Receipt.objects.count() == 1
    answer = pay(front_desk, job, "10", uid=form)
    assert answer.status_code == 422
    assert "kept as R00001" in answer.content.decode()


def test_money_goes_back_with_a_reason(job: Restoration, front_desk: Client) -> None:
    pay(front_desk, job, "50")
    given = {"uid": uuid4(), "amount_minor": "20", "received_on": day().isoformat(), "how": "card", "reference": ""}
    answer = send(front_desk, "note_refund", job.uid, **given, reason="")
    assert answer.status_code == 422
    assert answer.context["refund_form"].errors == {"reason": ["Fill this in."]}
    assert "<details open>" in answer.content.decode()
    too_much = send(front_desk, "note_refund", job.uid, **(given | {"amount_minor": "50.01"}), reason="all of it")
    assert "Only €50.00 was received" in too_much.context["refund_form"].errors["amount_minor"][0]
    assert send(front_desk, "note_refund", job.uid, **given, reason="too much").status_code == 302
    assert "−€20.00" in page(front_desk, job).replace("-€20.00", "−€20.00")


def test_a_receipt_is_reversed_once_with_a_reason(job: Restoration, front_desk: Client) -> None:
    pay(front_desk, job, "50")
    slip = Receipt.objects.get()
    answer = send(front_desk, "reverse_receipt", slip.uid, reason=" ")
    assert answer.status_code == 422
    assert f'id="reverse-{slip.number}-reason"' in answer.content.decode()
    assert send(front_desk, "reverse_receipt", slip.uid, reason="typed twice").status_code == 302
    shown = page(front_desk, job)
    assert "reverses R00001" in shown
    assert "reversed by R00002" in shown
    assert "Reverse R00001" not in shown
    again = front_desk.post(reverse("desk:reverse_receipt", args=[slip.uid]), {"reason": "again"}, follow=True)
    assert "R00001 is reversed already." in text(again.content.decode())
    assert Receipt.objects.count() == 2


def test_an_event_is_reached_and_taken_back(job: Restoration, front_desk: Client) -> None:
    assert send(front_desk, "reach", job.uid, "coated", day=day().isoformat()).status_code == 302
    assert Instalment.objects.get(name="Second").due_on == day(7)
    assert "to ask for" in page(front_desk, job)
    assert send(front_desk, "unreach", job.uid, "coated").status_code == 302
    assert Instalment.objects.get(name="Second").due_on is None
    again = front_desk.post(reverse("desk:unreach", args=[job.uid, "coated"]), follow=True)
    assert "There is nothing to take back here." in text(again.content.decode())


def test_an_event_to_come_is_refused_at_its_day(job: Restoration, front_desk: Client) -> None:
    answer = send(front_desk, "reach", job.uid, "coated", day=day(1).isoformat())
    assert answer.status_code == 422
    form = next(form for stage, form in answer.context["reach"] if stage.event == "coated")
    assert form.errors["day"] == ["This day is still to come. Give today or an earlier day."]
    assert f'value="{day(1).isoformat()}"' in answer.content.decode()


def test_what_waits_goes_out_by_name(job: Restoration, front_desk: Client) -> None:
    plating = step("Zinc plate")
    given = {"steps": [str(plating.uid)], "who_decided": "Eve Marsh"}
    answer = send(front_desk, "let_go", job.uid, **given, reason="")
    assert answer.status_code == 422
    assert answer.context["let_go_form"].errors == {"reason": ["Fill this in."]}
    assert 'value="Eve Marsh"' in answer.content.decode()
    assert send(front_desk, "let_go", job.uid, **given, reason="known for years").status_code == 302
    row = Override.objects.get()
    assert (row.kind, row.step, row.who, row.recorded_by) == ("funding", plating, "Eve Marsh", "ada")
    assert "let go by Eve Marsh known for years" in page(front_desk, job)


def test_what_is_out_or_on_order_comes_first_and_waits_for_nothing(job: Restoration, front_desk: Client) -> None:
    address = reverse("desk:money", args=[job.uid])
    soon, later = (item.step for item in front_desk.get(address).context["queue"])
    out(later, since=day())
    answer = front_desk.get(address)
    first, second = answer.context["queue"]
    assert (first.step, first.out, first.leave_by, first.may_go) == (later, True, None, True)
    assert second.total == first.amount + second.amount
    assert "out, on order or back" in answer.content.decode()
    assert [item.step for item in answer.context["held_back"]] == [soon]


def test_what_does_not_wait_is_not_on_the_list_to_let_go(job: Restoration, front_desk: Client) -> None:
    pay(front_desk, job, "5000")
    given = {"steps": [str(step("Zinc plate").uid)], "who_decided": "Eve", "reason": "known"}
    answer = send(front_desk, "let_go", job.uid, **given)
    assert answer.status_code == 422
    assert answer.context["let_go_form"].errors["steps"] == ["Choose one from the list."]
    assert not Override.objects.exists()


def test_an_address_left_in_the_bar_after_a_refusal_leads_back_to_the_page(
    job: Restoration, front_desk: Client
) -> None:
    pay(front_desk, job, "5")
    of, money = [job.uid], reverse("desk:money", args=[job.uid])
    left = [("note_receipt", of), ("note_refund", of), ("let_go", of), ("reach", [*of, "accepted"])]
    for name, args in [*left, ("reverse_receipt", [Receipt.objects.get().uid])]:
        answer = front_desk.get(reverse(f"desk:{name}", args=args))
        assert (answer.status_code, answer.headers.get("Location")) == (302, money), name


def test_a_refused_form_links_to_what_is_wrong(job: Restoration, front_desk: Client) -> None:
    shown = pay(front_desk, job, "ten").content.decode()
    assert '<a href="#receipt-amount_minor">Amount, tax included</a>' in shown
    assert shown.count("js/wrong") == 1


def test_the_next_payment_is_the_deposit_while_it_is_open(job: Restoration, front_desk: Client) -> None:
    deposit = standing(job, day()).due
    assert f"Next payment €{deposit:,.2f} · Deposit," in page(front_desk, job)
    pay(front_desk, job, str(deposit))
    assert "· Deposit," not in page(front_desk, job)


# --- queries ---


def test_the_page_takes_the_same_queries_for_few_rows_and_many(
    job: Restoration, shop: Workshop, front_desk: Client
) -> None:
    pay(front_desk, job, "1")
    hold(restoration=job, first=day(-40), last=day(), kind="unpaid", reason="x", **now_by())

    def asked() -> int:
        page(front_desk, job)
        with CaptureQueriesContext(connection) as caught:
            page(front_desk, job)
        return len(caught)

    few = asked()
    for number in range(6):
        pay(front_desk, job, str(number + 1))
        bought(frame(job, shop, name=f"Frame {number}"))
        days = {"first": day(2 * number + 2), "last": day(2 * number + 3)}
        hold(restoration=job, kind="deciding", reason=f"colour {number}", **days, **now_by())
    job.refresh_from_db()
    accept(job)
    assert asked() == few
    assert Hold.objects.count() == 7
