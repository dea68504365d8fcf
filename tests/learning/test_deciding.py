"""A suggestion is answered once; accepted ones become dated revisions, and nothing changes before."""

from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.test import Client

from quotes.learning import deciding, studying
from quotes.learning.models import Decision, Study, Suggestion
from quotes.learning.studying import keep_found
from quotes.learning.suggesting import Found, suggestion
from shop.journal.models import Entry
from shop.methods import defining
from shop.methods.models import Finish, FinishStep, Operation, PossibleDamage, Service
from shop.methods.selectors import standard_times
from shop.outbox.models import Row
from shop.people.models import Grade
from shop.people.services import add_person
from shop.rates.loading import load_starter
from shop.rates.selectors import grade_rates, odds
from tests.learning.conftest import NOW, TODAY

SAID: dict[str, Any] = {"today": TODAY, "who": "margit", "now": NOW}
Kind = Suggestion.Kind


@pytest.fixture
def starter(db: None) -> None:
    load_starter(guessed=False, today=TODAY, who="system", now=NOW)


def suggested(kind: str, subject: object, figure: str, **details: str) -> Suggestion:
    """One in the newest study."""
    study = Study.objects.create(asked_by="margit", asked_at=NOW)
    value = Decimal(figure)
    row = suggestion(
        kind,
        str(subject),
        "thing",
        assumed=Decimal(1),
        happened=value,
        suggested=value,
        interval=(value, value),
        sample=12,
        details=details,
    )
    keep_found(study, Found(suggestions=[row]), now=NOW)
    return Suggestion.objects.select_related("study").get(study=study)


def accepted(kind: str, subject: object, figure: str, **details: str) -> Decision:
    return deciding.accept(suggestion=suggested(kind, subject, figure, **details), **SAID)


@pytest.mark.usefixtures("starter")
def test_time_of_work_becomes_a_shop_factor_from_today() -> None:
    operation = Operation.objects.get(name="Fit and check")
    before = standard_times(TODAY)[operation.pk]
    accepted(Kind.OPERATION, operation.uid, "1.2400", spread="0.3100")
    after = standard_times(TODAY)[operation.pk]
    assert (after.setup, after.run, after.allowance) == (before.setup, before.run, before.allowance)
    assert (after.shop_factor, after.spread, after.valid_from) == (Decimal("1.24"), Decimal("0.31"), TODAY)
    assert operation.times.count() == 2


@pytest.mark.usefixtures("starter")
def test_set_up_and_run_told_apart_are_noted_apart() -> None:
    operation = Operation.objects.get(name="Powder coat")
    before = standard_times(TODAY)[operation.pk]
    details = {"spread": "0.3", "set-up factor": "1.2", "run factor": "0.9"}
    accepted(Kind.OPERATION, operation.uid, "1.0500", **details)
    after = standard_times(TODAY)[operation.pk]
    assert (after.setup, after.run) == (before.setup * Decimal("1.2"), before.run * Decimal("0.9"))
    assert after.shop_factor == 1


@pytest.mark.usefixtures("starter")
def test_pace_spread_and_lead_time_are_noted_and_the_rest_stays() -> None:
    grade = Grade.objects.get(name="Mechanic")
    rate, believed = grade_rates(TODAY)[grade.pk], odds(TODAY)
    accepted(Kind.GRADE, grade.uid, "0.9600")
    new = grade_rates(TODAY)[grade.pk]
    assert new.pace == Decimal("0.96")
    assert (new.cost_rate_minor, new.charge_rate_minor) == (rate.cost_rate_minor, rate.charge_rate_minor)
    accepted(Kind.BIKES, "", "18.5000")
    chances = odds(TODAY)
    assert chances.pace == Decimal("18.5")
    same = {"common", "strong", "kept", "inspect_fee_minor", "credit_days", "cap"}
    assert all(getattr(chances, name) == getattr(believed, name) for name in same)
    service = Service.objects.select_related("vendor").order_by("pk")[0]
    accepted(Kind.SERVICE, service.uid, str(17 + 2 * service.vendor.transport_days))
    service.refresh_from_db()
    assert service.lead_days == 17


@pytest.mark.usefixtures("starter")
def test_damage_is_called_by_the_nearest_word() -> None:
    damage = PossibleDamage.objects.filter(frequency="sometimes").order_by("pk")[0]
    accepted(Kind.DAMAGE, damage.uid, "41.0000")
    damage.refresh_from_db()
    assert damage.frequency == "common"
    with pytest.raises(ValidationError, match="no other word"):
        accepted(Kind.DAMAGE, damage.uid, "55.0000")
    # By ratio, with .5, .15 and .03 (DESIGN 9): 27.4 % is √(.5 × .15), where both words are as far.
    assert deciding.nearest_word(Decimal("27.3"), TODAY) == "sometimes"
    assert deciding.nearest_word(Decimal("27.5"), TODAY) == "common"


@pytest.mark.usefixtures("starter")
def test_a_chance_of_failing_is_set_in_every_route_of_the_finish() -> None:
    steps = FinishStep.objects.filter(fail_chance__gt=0, operation__isnull=False)
    step = steps.select_related("route__finish", "operation").order_by("pk")[0]
    assert step.operation is not None
    accepted(Kind.REWORK, f"{step.route.finish.uid} {step.operation.uid}", "9.2500")
    after = steps.filter(route__finish=step.route.finish, operation=step.operation)
    assert {row.fail_chance for row in after} == {Decimal("9.25")}
    others = steps.exclude(route__finish=step.route.finish)
    assert Decimal("9.25") not in {row.fail_chance for row in others}
    assert defining.steps_of(Finish.objects.get(pk=step.route.finish_id).routes.all()[0])


@pytest.mark.usefixtures("starter")
def test_it_is_answered_once_and_only_the_newest() -> None:
    operation = Operation.objects.order_by("pk")[0]
    old = suggested(Kind.OPERATION, operation.uid, "1.2", spread="0.3")
    row = suggested(Kind.OPERATION, operation.uid, "1.3", spread="0.3")
    with pytest.raises(deciding.DecidedError, match="newer"):
        deciding.accept(suggestion=old, **SAID)
    with pytest.raises(ValidationError, match="why not"):
        deciding.refuse(suggestion=row, reason=" ", who="margit", now=NOW)
    deciding.refuse(suggestion=row, reason="One strange bike", who="margit", now=NOW)
    with pytest.raises(deciding.DecidedError, match="already"):
        deciding.accept(suggestion=row, **SAID)
    assert operation.times.count() == 1
    assert Entry.objects.filter(what="suggestion refused").count() == 1


@pytest.mark.usefixtures("starter")
def test_what_was_suggested_and_said_cannot_be_changed() -> None:
    row = suggested(Kind.BIKES, "", "18")
    deciding.accept(suggestion=row, **SAID)
    for rows in (Suggestion.objects.all(), Decision.objects.all()):
        with pytest.raises(IntegrityError), transaction.atomic():
            rows.delete()
    with pytest.raises(IntegrityError), transaction.atomic():
        Suggestion.objects.update(suggested=1)


@pytest.mark.usefixtures("starter")
def test_one_study_is_under_way_at_once() -> None:
    first = studying.ask(who="margit", now=NOW)
    assert Row.objects.filter(handler=studying.HANDLER).count() == 1
    with pytest.raises(ValidationError, match="under way"):
        studying.ask(who="margit", now=NOW)
    later = NOW + studying.TOO_LONG * 2
    assert studying.ask(who="margit", now=later) != first
    first.refresh_from_db()
    assert first.failed


def signed_in(role: str) -> Client:
    person = add_person(
        username=f"a {role}".replace(" ", "-"), name=role, password="long-enough-to-be-kept-9", roles=[role]
    )
    client = Client()
    client.force_login(person)
    return client


@pytest.mark.usefixtures("starter")
def test_the_pages_take_an_answer_and_are_the_managers() -> None:
    operation = Operation.objects.get(name="Fit and check")
    row = suggested(Kind.OPERATION, operation.uid, "1.24", spread="0.3")
    manager, desk = signed_in("manager"), signed_in("desk")
    page = f"/learning/suggestions/{row.uid}/"
    assert desk.get("/learning/").status_code == desk.get(page).status_code == 403
    assert "1.24" in manager.get("/learning/").content.decode()
    assert "1.24" in manager.get(page).content.decode()
    refused = manager.post(f"{page}refuse/", {"reason": ""})
    assert refused.status_code == 422
    assert manager.post(f"{page}accept/").status_code == 302
    assert standard_times(NOW.date())  # the day of the request is today's; the row is there
    assert operation.times.count() == 2
    assert "accepted by" in manager.get(page).content.decode()


@pytest.mark.usefixtures("starter")
def test_bikes_alike_ask_for_one_thing_at_least() -> None:
    desk = signed_in("desk")
    assert desk.get("/learning/alike/").status_code == 200
    assert desk.get("/learning/alike/?maker=").status_code == 422
    found = desk.get("/learning/alike/?maker=Corvane")
    assert found.status_code == 200
    assert "No finished bike" in found.content.decode()
    assert signed_in("mechanic").get("/learning/alike/").status_code == 403
