from datetime import datetime, timedelta

import pytest
from django.db import transaction

from shop.journal import services as journal
from shop.journal.models import Unsealed
from shop.outbox import menders, selectors, services
from shop.outbox.models import Row
from shop.outbox.services import AT_ONCE, LEASE, MOST_ATTEMPTS
from tests.faults.processes import race
from tests.outbox.conftest import NOW, deliver, publish

SECOND = timedelta(seconds=1)


def sweep(now: datetime = NOW) -> list[int]:
    return services.sweep(now=now, worker="w1")


@pytest.mark.django_db(transaction=True)
def test_a_sweep_finds_what_is_due_the_longest_waiting_first() -> None:
    new, old = publish("new"), publish("old", due_at=NOW - SECOND)
    publish("later", due_at=NOW + SECOND)
    deliver(publish("done"))
    assert sweep() == [old.pk, new.pk]


@pytest.mark.django_db(transaction=True)
def test_a_sweep_takes_a_bounded_number_at_once() -> None:
    with transaction.atomic():
        for number in range(AT_ONCE + 1):
            publish(f"k{number}")
    assert len(sweep()) == AT_ONCE


@pytest.mark.django_db(transaction=True)
def test_a_row_whose_worker_died_is_due_again_when_its_lease_is_over() -> None:
    row = publish()
    services._lease(row.pk, now=NOW, worker="w1")
    assert sweep(NOW + LEASE - SECOND) == []
    assert sweep(NOW + LEASE) == [row.pk]


@pytest.mark.django_db(transaction=True)
def test_rows_whose_worker_died_do_not_keep_the_others_waiting() -> None:
    old, new = publish("old", due_at=NOW - SECOND), publish("new")
    Row.objects.filter(pk=old.pk).update(state="leased", lease_until=NOW, leased_by="w1")
    assert sweep(NOW) == [new.pk, old.pk]


# -- hints ---------------------------------------------------------------------------------------------------------


@pytest.mark.django_db
def test_a_row_is_hinted_at_again_only_when_its_hint_is_too_old() -> None:
    rows = [publish(f"k{number}").pk for number in range(3)]
    assert services.without_hint(rows, now=NOW) == rows
    services.mark_hinted(rows[:2], until=NOW + 5 * SECOND)
    assert services.without_hint(rows, now=NOW + 4 * SECOND) == rows[2:]
    assert services.without_hint(rows, now=NOW + 5 * SECOND) == rows


@pytest.mark.django_db(transaction=True)
def test_a_row_that_kills_its_worker_each_time_is_given_up() -> None:
    row, now = publish(), NOW
    for _attempt in range(MOST_ATTEMPTS):
        assert sweep(now) == [row.pk]
        assert services._lease(row.pk, now=now, worker="w1")
        now += LEASE
    assert sweep(now) == []
    row.refresh_from_db()
    assert (row.state, row.last_error) == ("dead", "The process that ran it ended 5 times.")


@pytest.mark.django_db(transaction=True)
def test_two_sweeps_may_settle_the_same_row() -> None:
    row = publish()
    Row.objects.filter(pk=row.pk).update(state="sending", lease_until=NOW, leased_by="w1", attempts=1)
    stale = Row.objects.get(pk=row.pk)
    assert services._settled(stale)
    assert services._settled(stale)
    assert Row.objects.get(pk=row.pk).state == "unknown"


@pytest.mark.django_db(transaction=True)
def test_a_sweep_seals_the_journal() -> None:
    deliver(publish())
    assert Unsealed.objects.exists()
    sweep()
    assert not Unsealed.objects.exists()


@pytest.mark.django_db(transaction=True)
def test_menders_run_every_few_seconds_and_what_they_publish_is_found_at_once() -> None:
    ran: list[datetime] = []

    def mend(*, now: datetime) -> None:
        ran.append(now)
        publish(f"missing {len(ran)}", due_at=now)

    menders.register(mend)
    menders.register(mend)
    assert len(sweep(NOW)) == 1
    sweep(NOW + 4 * SECOND)
    assert len(sweep(NOW + 5 * SECOND)) == 2
    assert ran == [NOW, NOW + 5 * SECOND]


@pytest.mark.django_db(transaction=True)
def test_a_clock_set_back_does_not_stop_the_menders() -> None:
    ran: list[datetime] = []
    menders.register(lambda *, now: ran.append(now))
    sweep(NOW + timedelta(days=1))
    sweep(NOW)
    sweep(NOW + 5 * SECOND)
    assert ran == [NOW + timedelta(days=1), NOW, NOW + 5 * SECOND]


@pytest.mark.django_db(transaction=True)
def test_a_mender_that_fails_is_told_of_and_stops_nothing(caplog: pytest.LogCaptureFixture) -> None:
    ran: list[datetime] = []
    row = publish()

    def mend(*, now: datetime) -> None:
        if now == NOW:
            raise ValueError("the drawer is stuck")

    menders.register(mend)
    menders.register(lambda *, now: ran.append(now))
    assert sweep() == [row.pk]
    assert ran == [NOW]
    beat = selectors.last_sweep()
    assert beat is not None
    assert beat.trouble == "tests.outbox.test_sweep.mend: the drawer is stuck"
    sweep(NOW + 5 * SECOND)
    beat.refresh_from_db()
    assert (beat.at, beat.by, beat.trouble) == (NOW + 5 * SECOND, "w1", "")


@pytest.mark.django_db(transaction=True)
def test_a_journal_that_cannot_be_sealed_stops_no_delivery(monkeypatch: pytest.MonkeyPatch) -> None:

    def seal(*, now: datetime) -> int:
        raise RuntimeError("no")

    monkeypatch.setattr(journal, "seal", seal)
    row = publish()
    assert sweep() == [row.pk]
    assert str(getattr(selectors.last_sweep(), "trouble", "")).endswith("_seal: no")


@pytest.mark.django_db(transaction=True)
def test_an_idle_sweep_asks_little_and_writes_nothing(django_assert_num_queries: object) -> None:
    sweep()
    with django_assert_num_queries(4) as asked:  # type: ignore[operator]
        sweep(NOW + SECOND)
    assert all(query["sql"].startswith("SELECT") for query in asked.captured_queries)


@pytest.mark.django_db(transaction=True)
def test_what_is_stuck_and_what_waits_can_be_counted() -> None:
    publish("waits")
    deliver(publish("dies", handler="break"))
    Row.objects.filter(key="dies").update(state="dead")
    assert selectors.stuck() == (1, 0)
    assert [row.key for row in selectors.waiting()] == ["waits"]


TURNS = 200


def takes_first_turns(place: int) -> list[bool]:
    return [services.take_turn(f"turn {n}", every=SECOND, now=NOW, by=f"w{place}") for n in range(TURNS)]


@pytest.mark.django_db(transaction=True)
def test_of_three_who_come_at_once_one_has_the_turn_also_the_very_first() -> None:
    """RELIABILITY D-09: a sweep that began twice at once."""
    taken = zip(*race(takes_first_turns, 3), strict=True)
    assert [sum(places) for places in taken] == [1] * TURNS
