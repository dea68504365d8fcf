"""Clockings in any order of doing against a plain model of them (RELIABILITY B-09): on, off, recall, edit, split, merge, take back.

The model keeps minutes in lists and knows nothing of rows, locks or constraints. After every step what counts in the database is
what the model has, and nobody is on two tasks at once. 200 runs of 50 steps are the goal; the check does fewer, to stay within a
minute and a half on a machine that does other things too. The long form does 5,000.
"""

import os
from datetime import UTC, datetime, timedelta
from itertools import pairwise

import pytest
from django.core.exceptions import ValidationError
from django.db import transaction
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule, run_state_machine_as_test

from shop.floor.corrections import Row, correct, recall
from shop.floor.models import Clocking
from shop.floor.settling import end_hanging
from tests.floor.conftest import person, tap, task

LONG = os.environ.get("BAREFRAME_LONG") == "1"
pytestmark = [pytest.mark.django_db, *([pytest.mark.long] if LONG else [])]

BEGIN = datetime(2026, 3, 3, 8, tzinfo=UTC)
CLOSING, WHILE, LONGEST, YOUNG = 9 * 60, 120, 600, 120
Known = tuple[str, int, int | None]  # task, begin and end in minutes after BEGIN

people = st.sampled_from(["joe", "ann"])
names = st.sampled_from(["wheels", "tank", "bath"])
minutes = st.integers(-60, 1_000)
which = st.integers(0, 30)


def at(minute: int) -> datetime:
    return BEGIN + timedelta(minutes=minute)


class Floor(RuleBasedStateMachine):
    def __init__(self) -> None:
        super().__init__()
        self.savepoint = transaction.atomic()
        self.savepoint.__enter__()
        self.now = 0
        self.known: dict[str, list[Known]] = {"joe": [], "ann": []}

    @initialize()
    def begin(self) -> None:
        self.people = {name: person(name) for name in self.known}
        self.tasks = {name: task(name) for name in ("wheels", "tank", "bath")}

    def teardown(self) -> None:
        transaction.set_rollback(True)
        self.savepoint.__exit__(None, None, None)

    # -- the model -------------------------------------------------------------------------------------------------------

    def running(self, who: str) -> Known | None:
        return next((one for one in self.known[who] if one[2] is None), None)

    def hangs(self, one: Known | None) -> bool:
        if one is None or self.now - one[1] <= YOUNG:
            return False
        return self.now - one[1] > LONGEST or (one[1] < CLOSING and self.now > CLOSING + WHILE)

    def free(self, who: str, begin: int, end: int, *, besides: tuple[Known, ...] = ()) -> bool:
        others = [one for one in self.known[who] if one not in besides]
        return not any(
            (other_end is None or other_end > begin) and other < end and other != other_end
            for _task, other, other_end in others
        )

    def may_be(self, who: str, rows: list[Known], besides: tuple[Known, ...] = ()) -> bool:
        """Rows that have ended."""
        pairs = [(begin, end or 0) for _task, begin, end in rows]
        return (
            all(begin < end <= self.now and end - begin <= 16 * 60 for begin, end in pairs)
            and all(one[1] <= other[0] for one, other in pairwise(sorted(pairs)))
            and all(self.free(who, begin, end, besides=besides) for begin, end in pairs)
        )

    def ended(self, who: str, place: int) -> Known | None:
        found = [one for one in self.known[who] if one[2] is not None]
        return found[place % len(found)] if found else None

    # -- doing -----------------------------------------------------------------------------------------------------------

    @rule(by=st.integers(1, 90))
    def wait(self, by: int) -> None:
        self.now += by

    @rule(who=people, to=names)
    def on(self, who: str, to: str) -> None:
        open_now = self.running(who)
        answer = tap(self.people[who], self.tasks[to], now=at(self.now))
        if self.hangs(open_now):
            assert (answer.status, answer.why) == (202, "hanging")
        else:
            assert answer.status == 200
            if open_now is None or open_now[0] != to:
                self.off_in_model(who)
                self.known[who].append((to, self.now, None))

    @rule(who=people)
    def off(self, who: str) -> None:
        hanging = self.hangs(self.running(who))
        answer = tap(self.people[who], now=at(self.now))
        assert answer.status == (202 if hanging else 200)
        if not hanging:
            self.off_in_model(who)

    def off_in_model(self, who: str) -> None:
        self.known[who] = [(name, begin, self.now if end is None else end) for name, begin, end in self.known[who]]

    @rule(who=people, place=st.integers(0, 100))
    def answer_what_hangs(self, who: str, place: int) -> None:
        """Taps that waited are let go first: what they do then is told of elsewhere."""
        open_now = self.running(who)
        if open_now is None or not self.hangs(open_now):
            return
        self.people[who].taps.filter(state="asked").update(state="settled")
        end = open_now[1] + (self.now - open_now[1]) * place // 100
        row = Clocking.objects.get(person=self.people[who], ended_at=None, superseded_at=None)
        end_hanging(clocking=row, ended_at=at(end), who="boss", now=at(self.now))
        self.known[who] = [(one[0], one[1], end) if one == open_now else one for one in self.known[who]]

    @rule(who=people, to=names, begin=minutes, length=st.integers(-5, 300))
    def remember(self, who: str, to: str, begin: int, length: int) -> None:
        row: Known = (to, begin, begin + length)
        if self.tried(who, [], [row]):
            self.known[who].append(row)

    @rule(who=people, place=which, to=names, begin=st.integers(-30, 30), end=st.integers(-30, 30))
    def edit(self, who: str, place: int, to: str, begin: int, end: int) -> None:
        old = self.ended(who, place)
        if old and old[2] is not None:
            self.put(who, [old], [(to, old[1] + begin, old[2] + end)])

    @rule(who=people, place=which, to=names, cut=st.integers(0, 100))
    def split(self, who: str, place: int, to: str, cut: int) -> None:
        old = self.ended(who, place)
        if old and old[2] is not None:
            middle = old[1] + (old[2] - old[1]) * cut // 100
            self.put(who, [old], [(old[0], old[1], middle), (to, middle, old[2])])

    @rule(who=people, one=which, other=which)
    def merge(self, who: str, one: int, other: int) -> None:
        first, second = self.ended(who, one), self.ended(who, other)
        if first and second and first[1:] != second[1:] and first[2] is not None and second[2] is not None:
            whole: Known = (first[0], min(first[1], second[1]), max(first[2], second[2]))
            self.put(who, [first, second], [whole])

    @rule(who=people, place=which)
    def take_back(self, who: str, place: int) -> None:
        old = self.ended(who, place)
        if old:
            self.put(who, [old], [])

    def put(self, who: str, old: list[Known], new: list[Known]) -> None:
        if self.tried(who, old, new):
            for one in old:
                self.known[who].remove(one)
            self.known[who] += new

    def tried(self, who: str, old: list[Known], new: list[Known]) -> bool:
        """Do it; whether it was let through, which is when the model lets it through."""
        rows = [Row(self.tasks[name], at(begin), at(end or 0)) for name, begin, end in new]
        said = {"person": self.people[who], "rows": rows, "who": who, "now": at(self.now)}
        try:
            if old:
                correct(replaced=self.rows(who, old), reason="It was so", **said)  # type: ignore[arg-type]
            else:
                recall(**said)  # type: ignore[arg-type]
        except ValidationError:
            assert not self.may_be(who, new, tuple(old))
            return False
        assert self.may_be(who, new, tuple(old))
        return True

    def rows(self, who: str, wanted: list[Known]) -> list[Clocking]:
        live = Clocking.objects.filter(person=self.people[who], superseded_at=None)
        found = []
        for name, begin, end in wanted:
            ends = at(end) if end is not None else None
            same = live.filter(task__name=name, began_at=at(begin), ended_at=ends).exclude(pk__in=[o.pk for o in found])
            found.append(same[0])
        return found

    # -- what always holds -----------------------------------------------------------------------------------------------

    @invariant()
    def what_counts_is_what_the_model_has(self) -> None:
        rows = Clocking.objects.filter(superseded_at=None).values_list(
            "person__username", "task__name", "began_at", "ended_at"
        )
        found = sorted(((who, name, b, e) for who, name, b, e in rows), key=str)
        model = [
            (who, name, at(b), at(e) if e is not None else None)
            for who, known in self.known.items()
            for name, b, e in known
        ]
        assert found == sorted(model, key=str)

    @invariant()
    def nobody_is_on_two_tasks_at_once(self) -> None:
        for known in self.known.values():
            spans = sorted((b, 10**6 if e is None else e) for _name, b, e in known if b != e)
            assert all(one[1] <= other[0] for one, other in pairwise(spans))


def test_in_any_order_what_counts_is_what_a_plain_model_has() -> None:
    runs = settings(
        max_examples=5_000 if LONG else 60,
        stateful_step_count=50,
        deadline=None,
        database=None,
        derandomize=not LONG,
        suppress_health_check=list(HealthCheck),
    )
    run_state_machine_as_test(Floor, settings=runs)
