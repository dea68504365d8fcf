"""The boxes of hours in a real Chromium: what is usual in them can be read whole at every width."""

import pytest

from shop.people.models import Shop
from tests.opening import Opened, violations

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
#: Boxes that show less than what stands in them, with both widths [px].
CUT = """() => [...document.querySelectorAll('main input[type=text]')]
    .filter(box => box.scrollWidth > box.clientWidth).map(box => [box.name, box.clientWidth, box.scrollWidth])"""


@pytest.mark.parametrize("width", [320, 390, 768, 1024, 1280])
def test_the_usual_hours_are_read_whole(opened: Opened, width: int) -> None:
    Shop.objects.create(name="Hollow Lane Works")
    page = opened("/workshop/times/", who="manager", width=width)
    assert (
        sum(bool(day) for day in page.eval_on_selector_all("[name^=hours_]", "all => all.map(one => one.value)")) >= 5
    )
    assert page.evaluate(CUT) == []
    assert violations(page) == []
