"""How much may be added holds also when many add at once (RELIABILITY S-25)."""

from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.db.models import F

from shop.papers import photographs_quotas as quotas
from shop.papers.models import Photograph, PhotographCount
from tests.faults.processes import race
from tests.papers.conftest import NOW
from tests.papers.pictures import files, keep, plain, random_jpeg

AT_ONCE = 20
ROOM = 7
LARGEST = 2**40


@pytest.fixture
def limit(settings: Any) -> Callable[..., None]:
    def set_limit(name: str, photographs: int = 10**6, size: int = LARGEST) -> None:
        wide = dict.fromkeys(("person_day", "person", "shop_day", "shop"), (10**6, LARGEST))
        settings.PHOTOGRAPH_LIMITS = wide | {name: (photographs, size)}

    return set_limit


def add(who: str) -> str:
    try:
        keep(random_jpeg(), who=who)
    except ValidationError as refused:
        return str(refused.message_dict["file"][0])
    return "kept"


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("name", ["person_day", "person", "shop_day", "shop"])
def test_twenty_uploads_at_once_never_pass_the_number(name: str, limit: Callable[..., None], documents: Any) -> None:
    limit(name, photographs=ROOM)
    whose = (lambda number: "ada") if name.startswith("person") else (lambda number: f"person {number % 4}")
    told = race(lambda number: add(whose(number)), AT_ONCE)
    assert told.count("kept") == ROOM == Photograph.objects.count()
    assert told.count(str(quotas.SENTENCES[name])) == AT_ONCE - ROOM
    assert len(files(documents)) == 2 * ROOM
    assert PhotographCount.objects.get(who="", day=None).photographs == ROOM


@pytest.mark.django_db(transaction=True)
def test_twenty_uploads_at_once_never_pass_the_bytes(limit: Callable[..., None], documents: Any) -> None:
    size = 10_000
    limit("shop", size=size)
    told = race(lambda number: add("ada"), AT_ONCE)
    kept = sum(path.stat().st_size for path in files(documents))
    assert kept == PhotographCount.objects.get(who="", day=None).bytes
    assert size - kept < kept / told.count("kept")  # it is used up but for less than one more
    assert kept <= size


def take_without_condition(*, who: str, today: date, size: int) -> None:
    """Trust the look before the work, then add."""
    for one in quotas.limits(who=who, today=today):
        PhotographCount.objects.get_or_create(who=one.who, day=one.day, defaults={"photographs": 0, "bytes": 0})
        one.counts().update(photographs=F("photographs") + 1, bytes=F("bytes") + size)


@pytest.mark.control
@pytest.mark.django_db(transaction=True)
def test_a_look_before_and_a_count_after_would_let_more_through(
    limit: Callable[..., None], monkeypatch: pytest.MonkeyPatch
) -> None:
    limit("shop", photographs=ROOM)
    quotas.take(who="ada", today=date(2026, 3, 2), size=1)  # the rows are there: only the condition is missing
    monkeypatch.setattr(quotas, "take", take_without_condition)
    told = race(lambda number: add("ada"), AT_ONCE)
    assert told.count("kept") + 1 > ROOM


@pytest.mark.django_db
def test_who_has_used_up_the_day_goes_on_tomorrow_and_keeps_nobody_else_waiting(limit: Callable[..., None]) -> None:
    limit("person_day", photographs=2)
    keep(plain())
    keep(plain())
    with pytest.raises(ValidationError, match="Go on tomorrow, or ask the manager"):
        keep(plain())
    keep(plain(), who="tom")
    keep(plain(), now=NOW + timedelta(days=1))
    assert PhotographCount.objects.get(who="ada", day=None).photographs == 3
    assert PhotographCount.objects.get(who="", day=date(2026, 3, 2)).photographs == 3


@pytest.mark.django_db
def test_the_day_is_the_shop_s_own(limit: Callable[..., None], settings: Any) -> None:
    from django.utils import timezone

    limit("person_day", photographs=1)
    with timezone.override("Pacific/Auckland"):
        keep(plain(), now=NOW.replace(hour=10))  # the 2nd there, until noon
        keep(plain(), now=NOW.replace(hour=12))
    assert set(PhotographCount.objects.filter(who="ada").values_list("day", flat=True)) == {
        None,
        date(2026, 3, 2),
        date(2026, 3, 3),
    }


@pytest.mark.django_db
def test_what_is_refused_counts_nothing_and_a_full_quota_costs_no_decoding(
    limit: Callable[..., None], monkeypatch: pytest.MonkeyPatch
) -> None:
    with pytest.raises(ValidationError):
        keep(b"not a picture")
    assert not PhotographCount.objects.exists()
    limit("shop", photographs=0)
    monkeypatch.setattr("shop.papers.photographs.remake", lambda content: pytest.fail("decoded"))
    with pytest.raises(ValidationError) as refused:
        keep(plain())
    assert refused.value.message_dict == {"file": [str(quotas.SENTENCES["shop"])]}
