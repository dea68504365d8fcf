"""The morning's digest, and the line to a vendor: once, on days and at hours that are not quiet, of what is open then."""

import re
from collections.abc import Iterator
from datetime import date, datetime, time, timedelta
from typing import Any

import pytest
from django.contrib.auth.models import Group
from django.core.exceptions import ValidationError
from django.utils import timezone

from shop.methods.models import Vendor
from shop.outbox import services as outbox
from shop.outbox.models import Row
from shop.people.models import User
from shop.people.roles import ROLE_DESK, ROLE_MANAGER, ROLE_MECHANIC
from shop.restorations.models import Part
from shop.vendor_jobs.models import Reminder
from shop.vendor_jobs.reminding import asking, telling
from shop.vendor_jobs.reminding.acting import done
from shop.vendor_jobs.reminding.rules import set_quiet
from shop.vendor_jobs.reminding.watching import mend
from shop.vendor_jobs.sending import Told, told_new_day
from shop.vendor_jobs.terms import set_terms
from tests.pricing.post import FROM, Office, account, post_office, text_of
from tests.vendor_jobs.lots import DUE, SENT, sent
from tests.vendor_jobs.reminded import at

pytestmark = pytest.mark.django_db

ONE, MINUTE = timedelta(days=1), timedelta(minutes=1)
LATE = DUE + ONE  # a Friday


@pytest.fixture
def office(settings: Any) -> Iterator[Office]:
    with post_office() as opened:
        settings.MAIL, settings.MAIL_FROM, settings.ADDRESS = account(opened.port), FROM, ""
        yield opened


def person(name: str, *roles: str, **fields: Any) -> User:
    row = User.objects.create(username=name, **({"email": f"{name}@shop.example"} | fields))
    row.groups.set([Group.objects.get_or_create(name=role)[0] for role in roles])
    return row


def moment(day: date, hour: int, minute: int = 0) -> datetime:
    return timezone.make_aware(datetime.combine(day, time(hour, minute)))


def swept(now: datetime) -> list[outbox.Outcome]:
    """One sweep, and what it found delivered."""
    mend(now=now)
    return [outbox.deliver(pk, now=now, worker="w1") for pk in outbox.due_rows(now=now)]


def to(office: Office) -> list[str]:
    return [one for _sender, receivers in office.envelopes for one in receivers]


def test_one_digest_for_each_person_and_day_after_the_morning(levers: Part, office: Office) -> None:
    person("ada", ROLE_DESK)
    person("eve", ROLE_MANAGER)
    person("tom", ROLE_MECHANIC)
    person("kit", ROLE_DESK, is_active=False)
    person("mute", ROLE_DESK, email="")
    sent(levers)
    assert swept(moment(LATE, 7, 29)) == []
    for minute in (30, 31, 45):
        swept(moment(LATE, 7, minute))
    swept(moment(LATE, 12))
    assert to(office) == ["ada@shop.example"], "nothing has climbed to the manager"
    assert Row.objects.filter(handler=telling.HANDLER, state="done").count() == 2
    said = text_of(office.letters[0]).replace("\r\n", "\n")
    assert re.fullmatch(r"Overdue\n- V1 · Brook Platers: due back on 12 Mar\w* 2026, 1 day ago\.\n", said)


def test_each_day_has_its_own_until_it_is_settled(levers: Part, office: Office) -> None:
    ada = person("ada", ROLE_DESK)
    sent(levers)
    swept(moment(DUE, 8))
    swept(moment(LATE, 8))
    assert len(office.taken) == 2
    done(reminder=Reminder.objects.get(kind="overdue"), **at(LATE))
    swept(moment(LATE + 3 * ONE, 8))
    assert len(office.taken) == 2, "nothing is open, so no mail"
    key = telling.digest_key(ada, LATE + 3 * ONE)
    assert Row.objects.get(key=key).state == "done"


@pytest.mark.parametrize(
    ("day", "hour", "told"), [(LATE, 7, 0), (LATE, 8, 1), (LATE, 17, 1), (LATE, 18, 0), (LATE + ONE, 9, 0)]
)
def test_nobody_is_told_before_the_morning_after_the_evening_or_on_a_quiet_day(
    levers: Part, office: Office, day: date, hour: int, told: int
) -> None:
    """Friday from half past seven to six; Saturday is quiet. A service that was stopped tells later the same day."""
    person("ada", ROLE_DESK)
    sent(levers)
    swept(moment(day, hour))
    assert len(office.taken) == told


def test_the_shop_says_when_it_is_quiet(levers: Part, office: Office) -> None:
    person("ada", ROLE_DESK)
    sent(levers)
    quiet: dict[str, Any] = {"days": "567", "morning": time(6), "evening": time(20), "digest": True}
    set_quiet(**quiet, **at(SENT))
    swept(moment(LATE, 8))
    assert len(office.taken) == 0
    set_quiet(**quiet | {"days": "7"}, **at(SENT))
    swept(moment(LATE, 9))
    assert len(office.taken) == 1
    set_quiet(**quiet | {"days": "", "digest": False}, **at(SENT))
    swept(moment(LATE + ONE, 9))
    assert len(office.taken) == 1


@pytest.mark.parametrize(("change", "field"), [({"days": "1234567"}, "days"), ({"evening": time(7)}, "evening")])
def test_a_shop_that_would_never_be_told_is_told_so(change: dict[str, Any], field: str) -> None:
    given: dict[str, Any] = {"days": "67", "morning": time(7, 30), "evening": time(18), "digest": True}
    with pytest.raises(ValidationError) as refused:
        set_quiet(**given | change, **at(SENT))
    assert field in refused.value.error_dict


def test_whoever_hears_of_both_levels_hears_of_one(levers: Part, office: Office) -> None:
    person("sam", ROLE_DESK, ROLE_MANAGER)
    sent(levers)
    swept(moment(DUE + 6 * ONE, 8))
    assert text_of(office.letters[0]).count("V1") == 1
    assert Reminder.objects.filter(kind="overdue", settled="").count() == 2


def test_the_manager_stands_in_where_nobody_is_at_the_desk(levers: Part, office: Office) -> None:
    person("eve", ROLE_MANAGER)
    sent(levers)
    swept(moment(LATE, 8))
    assert to(office) == ["eve@shop.example"]


def test_interrupted_it_is_unknown_and_never_sent_again_by_machine(levers: Part, office: Office) -> None:
    """RELIABILITY D4 and D-03: the server fell silent after the message went out."""
    person("ada", ROLE_DESK)
    sent(levers)
    office.on_data = "die"
    assert swept(moment(LATE, 8)) == [outbox.Outcome.UNKNOWN]
    office.on_data = "250 taken"
    for hour in range(9, 18):
        assert swept(moment(LATE, hour)) == []
    assert len(office.taken) == 1
    row = Row.objects.get(state="unknown")
    outbox.retry(row_id=row.pk, who="eve", now=moment(LATE, 17))
    assert swept(moment(LATE, 17, 5)) == [outbox.Outcome.DONE]
    first, second = (letter["Message-ID"] for letter in office.letters)
    assert first == second, "whoever gets it twice can see that it is one"


def test_refused_for_sure_it_is_tried_again_and_tells_what_is_open_then(levers: Part, office: Office) -> None:
    person("ada", ROLE_DESK)
    job = sent(levers)
    office.on_data = "451 come back later"
    assert swept(moment(LATE, 8)) == [outbox.Outcome.AGAIN]
    told_new_day(job=job, told=Told(LATE + 20 * ONE), told_on=LATE, **at(LATE))
    office.on_data = "250 taken"
    assert swept(moment(LATE, 9)) == [outbox.Outcome.DONE]
    assert len(office.taken) == 0, "nothing is open any more"


def test_what_was_not_sent_on_its_day_is_told_by_the_next_days_digest(levers: Part, office: Office) -> None:
    person("ada", ROLE_DESK)
    sent(levers)
    office.on_data = "451 come back later"
    swept(moment(DUE, 17, 59))
    office.on_data = "250 taken"
    swept(moment(LATE, 8))
    assert len(office.taken) == 1


def test_without_a_mail_server_nothing_is_asked_for(levers: Part, settings: Any) -> None:
    settings.MAIL = None
    person("ada", ROLE_DESK)
    sent(levers)
    swept(moment(LATE, 8))
    assert not Row.objects.filter(handler=telling.HANDLER).exists()


# -- the vendor ------------------------------------------------------------------------------------------------------------


def written_to(vendor: Vendor, mails: bool) -> None:
    Vendor.objects.filter(pk=vendor.pk).update(email="iris@brook.example")
    vendor.refresh_from_db()
    terms: dict[str, Any] = {"insured_minor": None, "claim_cap_minor": None, "redo_free": True, "note": ""}
    set_terms(vendor=vendor, takes_in_on="12345", mails=mails, **terms, **at(SENT))


def test_a_vendor_is_asked_once_for_each_day_told_and_only_where_the_terms_say_so(levers: Part, office: Office) -> None:
    job = sent(levers)
    written_to(job.vendor, False)
    swept(moment(DUE - 2 * ONE, 9))
    assert to(office) == []
    written_to(job.vendor, True)
    for day in (DUE - 2 * ONE, DUE - ONE, DUE, LATE):
        swept(moment(day, 10))
    assert to(office) == ["iris@brook.example"]
    said = " ".join(text_of(office.letters[0]).split())
    assert re.search(r"our lot V1 \(Zinc plate\) is due on 12 Mar\w* 2026\.", said)
    told_new_day(job=job, told=Told(LATE), told_on=LATE, **at(LATE))
    swept(moment(LATE, 11))
    assert to(office) == ["iris@brook.example"] * 2


def test_a_vendor_is_not_asked_for_what_came_back_before_the_mail_left(levers: Part, office: Office) -> None:
    from tests.vendor_jobs.lots import came

    job = sent(levers)
    written_to(job.vendor, True)
    mend(now=moment(DUE, 8))
    assert Row.objects.filter(handler=asking.HANDLER).count() == 1
    came(job, good=4)
    now = moment(DUE, 8) + MINUTE
    assert [outbox.deliver(pk, now=now, worker="w1") for pk in outbox.due_rows(now=now)] == [outbox.Outcome.DONE]
    assert to(office) == []
