"""What was worked out of rows is given again only where every statement brings the very same rows."""

from dataclasses import dataclass
from datetime import date

import pytest
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext
from django.utils import timezone, translation

from shop.methods.dated import imagining
from shop.people.models import Grade
from shop.rereading import Memory, reread

pytestmark = pytest.mark.django_db


class Asked:
    """Names of labour grades; counts how often they had to be worked out."""

    def __init__(self, *, most: int = 2) -> None:
        self.times = 0
        self.look = reread(most=most)(self._names)

    def _names(self, day: date = date(2026, 3, 2), *, begin: str = "") -> list[str]:
        self.times += 1
        first = Grade.objects.order_by("pk").first()
        return [row.name for row in Grade.objects.filter(name__startswith=begin).order_by("name")] if first else []


@pytest.fixture
def asked() -> Asked:
    Grade.objects.create(name="Mechanic")
    Grade.objects.create(name="Painter")
    return Asked()


def test_the_same_rows_are_worked_out_once(asked: Asked) -> None:
    assert [asked.look() for _ in range(3)] == [["Mechanic", "Painter"]] * 3
    assert asked.times == 1


def test_a_row_that_changed_is_seen_at_once_though_nobody_said_so(asked: Asked) -> None:
    asked.look()
    Grade.objects.filter(name="Painter").update(name="Sprayer")
    assert asked.look() == ["Mechanic", "Sprayer"]
    Grade.objects.filter(name="Sprayer").delete()
    assert asked.look() == ["Mechanic"]
    Grade.objects.create(name="Apprentice")
    assert asked.look() == ["Apprentice", "Mechanic"]


def test_what_was_taken_back_is_not_seen(asked: Asked) -> None:
    asked.look()
    with transaction.atomic():
        Grade.objects.create(name="Apprentice")
        assert "Apprentice" in asked.look()
        transaction.set_rollback(True)
    assert asked.look() == ["Mechanic", "Painter"]


def test_rows_that_come_where_none_were_are_seen() -> None:
    asked = Asked()
    assert asked.look() == []
    Grade.objects.create(name="Mechanic")
    assert asked.look() == ["Mechanic"]


@pytest.mark.parametrize(("day", "begin"), [(date(2026, 3, 3), ""), (date(2026, 3, 2), "P")])
def test_other_arguments_are_another_question(asked: Asked, day: date, begin: str) -> None:
    asked.look()
    asked.look(day, begin=begin)
    assert asked.times == 2


def test_another_language_or_time_zone_is_another_question(asked: Asked) -> None:
    asked.look()
    with translation.override("de"):
        asked.look()
    with timezone.override("Asia/Tokyo"):
        asked.look()
    assert asked.times == 3


def test_it_takes_as_many_queries_as_working_it_out(asked: Asked) -> None:
    with CaptureQueriesContext(connection) as first:
        asked.look()
    with CaptureQueriesContext(connection) as again:
        asked.look()
    Grade.objects.filter(name="Painter").update(name="Sprayer")
    with CaptureQueriesContext(connection) as changed:
        asked.look()
    assert (len(first), len(again)) == (2, 2)
    assert len(changed) == 2, "what was read to compare is not read once more"


def test_nobody_changes_what_another_is_given(asked: Asked) -> None:
    asked.look().append("Nobody")
    asked.look().append("Nobody")
    assert asked.look() == ["Mechanic", "Painter"]


def test_a_row_of_the_asker_is_in_the_answer_as_it_is_and_others_are_copies() -> None:
    mine, other = Grade.objects.create(name="Mechanic"), Grade.objects.create(name="Painter")
    look = reread(most=2)(lambda row: (row, list(Grade.objects.exclude(pk=row.pk))))
    for _ in range(2):
        again, (found,) = look(mine)
        assert again is mine
        assert found == other
        found.name = "spoilt"
    assert look(Grade.objects.get(pk=mine.pk))[1][0].name == "Painter"


def test_a_row_of_the_asker_that_differs_is_another_question() -> None:
    mine = Grade.objects.create(name="Mechanic")
    look = reread(most=2)(lambda row: row.name.upper())
    assert look(mine) == "MECHANIC"
    mine.name = "Painter"
    assert look(mine) == "PAINTER"


@dataclass(frozen=True)
class Figure:
    value: int


def test_what_nobody_can_change_comes_out_as_it_is() -> None:
    memory, made = Memory[list[Figure]](most=2, frozen=(Figure,)), Figure(3)
    for _ in range(2):
        assert memory.ask(lambda: [made], given="a figure")[0] is made


def test_a_refusal_is_said_again_each_time() -> None:
    times = 0

    @reread(most=2)
    def refuse() -> None:
        nonlocal times
        times += 1
        raise Grade.DoesNotExist

    for _ in range(2):
        with pytest.raises(Grade.DoesNotExist):
            refuse()
    assert times == 2


def test_what_writes_is_done_each_time() -> None:
    Grade.objects.create(name="Mechanic")
    rename = reread(most=2)(lambda: Grade.objects.filter(name="Mechanic").update(name="Painter"))
    assert [rename(), rename()] == [1, 0]


def test_rows_read_a_few_at_a_time_are_read_each_time(asked: Asked) -> None:
    @reread(most=2)
    def few() -> list[str]:
        asked.times += 1
        return [row.name for row in Grade.objects.order_by("name").iterator(chunk_size=1)]

    assert few() == few() == ["Mechanic", "Painter"]
    Grade.objects.filter(name="Painter").update(name="Sprayer")
    assert few() == ["Mechanic", "Sprayer"]
    assert asked.times == 3


def test_what_is_only_imagined_is_neither_kept_nor_hidden(asked: Asked) -> None:
    asked.look()
    with imagining():
        asked.look()
    assert asked.times == 2


def test_what_was_asked_longest_ago_is_forgotten_first(asked: Asked) -> None:
    for begin in ("M", "P", "M", "X", "M"):
        asked.look(begin=begin)
    assert asked.times == 3
    asked.look(begin="P")
    assert asked.times == 4


def test_the_connection_is_as_before_when_the_work_is_done_or_refused(asked: Asked) -> None:
    before = connection.cursor
    asked.look()
    with pytest.raises(ZeroDivisionError):
        reread(most=2)(lambda: 1 / 0)()
    assert connection.cursor == before
