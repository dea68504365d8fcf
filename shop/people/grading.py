"""Which labour grade a person has on a day: what their hour costs the shop goes by it."""

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Callable
from datetime import date, datetime

from django.db import transaction

from shop.journal.services import record, subject_of
from shop.people.models import Grade, PersonGrade, User


@transaction.atomic
def grade_person(*, person: User, grade: Grade, since: date, who: str, now: datetime) -> PersonGrade:
    """Say which grade a person has from a day on. Said again for the same day, the last word counts."""
    person = User.objects.select_for_update().get(pk=person.pk)
    before = grade_of(person, since)
    row = PersonGrade(person=person, grade=grade, since=since, at=now, recorded_by=who)
    row.full_clean()
    row.save(force_insert=True)
    record(
        who=who,
        at=now,
        what="labour grade given",
        subject=subject_of(person),
        before={"labour grade": str(before) if before else ""},
        after={"labour grade": str(grade), "from": since},
    )
    return row


def grade_of(person: User, day: date) -> Grade | None:
    """The grade of a person on a day; None while nobody gave them one."""
    row = person.grades.filter(since__lte=day).select_related("grade").order_by("-since", "-pk").first()
    return row.grade if row else None


def grades() -> Callable[[int, date], int | None]:
    """Person and day to the key of a grade, read once: one query for everybody and every day."""
    days: dict[int, list[date]] = defaultdict(list)
    held: dict[int, list[int]] = defaultdict(list)
    for person, since, grade in PersonGrade.objects.order_by("since", "pk").values_list("person", "since", "grade"):
        days[person].append(since)
        held[person].append(grade)

    def of(person: int, day: date) -> int | None:
        place = bisect_right(days.get(person, []), day)
        return held[person][place - 1] if place else None

    return of
