"""Two people in one box: who is told what, and how it is settled, with and without scripting."""

from decimal import Decimal

import pytest
from django.urls import reverse

from quotes.desk import saving
from quotes.desk.forms import DraftForm, PartForm, StepForm
from quotes.pricing.models import Draft
from quotes.pricing.services import change_draft
from shop.restorations.models import Part
from shop.restorations.services import ChangedMeanwhileError
from shop.routes.parts import edit_part
from shop.routes.services import change_step, remove_step
from tests.desk.test_editor import HTMX, bike, desk, sent, shop  # noqa: F401 -- fixtures of the same page
from tests.workshop import WHO, draft, frame

pytestmark = pytest.mark.django_db


@pytest.fixture
def part(bike, shop):  # noqa: F811
    return frame(bike, shop)


def after_a_colleague(part: Part, **theirs: object) -> Part:
    """The part as it was seen, after somebody else changed it."""
    before = Part.objects.get(pk=part.pk)
    edit_part(part=Part.objects.get(pk=part.pk), changes=theirs, **WHO)
    return before


def post(desk, part: Part, data: dict[str, str], **headers: str) -> str:  # noqa: F811
    return desk.post(reverse("desk:part", args=[part.uid]), data, **(headers or HTMX)).content.decode()


@pytest.mark.parametrize(
    ("form", "field", "now", "words"),
    [
        ("part", "material", "brass", "brass or copper"),
        ("part", "deviation", "", "nothing"),
        ("part", "strength", None, "nothing"),
        ("part", "factory_finish", None, "none"),
        ("part", "area", Decimal("12.5"), "12.5"),
        ("step", "replacement_minor", 123450, "€1,234.50"),
        ("step", "replacement_minor", 0, "€0.00"),
        ("step", "back_to", None, "this step"),
        ("draft", "discount", Decimal(5), "5"),
        ("draft", "note", "", "nothing"),
    ],
)
def test_what_somebody_else_set_is_said_as_its_box_shows_it(part, form, field, now, words):
    forms = {
        "part": PartForm({}, instance=part),
        "step": StepForm({}, instance=part.steps.last()),
        "draft": DraftForm({}, instance=draft(part.restoration)),
    }
    saving.tell_conflict(forms[form], ChangedMeanwhileError(field, now))
    assert f"changed this to “{words}” meanwhile" in forms[form].errors.as_text()


def test_a_finish_is_said_by_its_name_and_not_by_its_key(desk, part, shop):  # noqa: F811
    before = after_a_colleague(part, factory_finish=shop.green)
    answer = post(desk, part, sent(before, factory_finish=str(shop.zinc.pk)))
    assert f"changed this to “{shop.green}” meanwhile" in answer


@pytest.mark.parametrize("headers", [HTMX, {"HTTP_ACCEPT": "text/html"}], ids=["scripting", "plain"])
@pytest.mark.parametrize(("choice", "stands"), [("mine", 7), ("theirs", 3)])
def test_a_conflict_asks_which_should_stand_and_keeps_to_the_answer(desk, part, headers, choice, stands):  # noqa: F811
    before = after_a_colleague(part, pieces=3)
    data = sent(before, pieces="7")
    answer = post(desk, part, data, **headers)
    assert 'value="mine:pieces"' in answer
    assert 'name="theirs-pieces" value="3"' in answer
    assert 'name="seen-pieces" value="1"' in answer
    settled = post(desk, part, data | {"theirs-pieces": "3", "settle": f"{choice}:pieces"}, **headers)
    assert Part.objects.get(pk=part.pk).pieces == stands
    assert headers is not HTMX or f'name="seen-pieces" value="{stands}"' in settled
    assert "settle" not in settled


def test_a_conflict_stays_one_until_it_is_settled(desk, part):  # noqa: F811
    before = after_a_colleague(part, pieces=3)
    data = sent(before, pieces="7")
    for _again in range(2):
        assert "changed this to “3” meanwhile" in post(desk, part, data)
    assert Part.objects.get(pk=part.pk).pieces == 3


def test_using_mine_does_not_run_over_a_third_person(desk, part):  # noqa: F811
    before = after_a_colleague(part, pieces=3)
    after_a_colleague(part, pieces=4)
    answer = post(desk, part, sent(before, pieces="7") | {"theirs-pieces": "3", "settle": "mine:pieces"})
    assert "changed this to “4” meanwhile" in answer
    assert Part.objects.get(pk=part.pk).pieces == 4


def test_a_wrong_entry_elsewhere_does_not_hide_a_colleagues_change(desk, part):  # noqa: F811
    before = after_a_colleague(part, pieces=3)
    answer = post(desk, part, sent(before, pieces="7", area="big"))
    assert 'name="seen-pieces" value="1"' in answer
    assert "changed this to “3” meanwhile" in post(desk, part, sent(before, pieces="7", area="12"))


@pytest.mark.parametrize("settle", ["", "mine", "mine:", "theirs:no_such_box", "both:pieces", "theirs:restoration"])
def test_a_choice_that_is_none_changes_nothing(desk, part, settle):  # noqa: F811
    before = after_a_colleague(part, pieces=3)
    post(desk, part, sent(before, pieces="7") | {"theirs-pieces": "3", "settle": settle})
    assert Part.objects.get(pk=part.pk).pieces == 3


def test_taking_theirs_leaves_the_version_a_quote_was_looked_at_with(desk, part):  # noqa: F811
    before = after_a_colleague(part, pieces=3)
    part.restoration.refresh_from_db()
    version = part.restoration.scope_version
    post(desk, part, sent(before, pieces="7") | {"settle": "theirs:pieces"})
    part.restoration.refresh_from_db()
    assert part.restoration.scope_version == version


def test_money_is_settled_in_its_own_places(desk, part, shop):  # noqa: F811
    step = part.steps.get(operation=shop.spray)
    change_step(step=step, changes={"replacement_minor": 123450}, **WHO)
    data = {"replacement": "9.00", "seen-replacement": "0.00"}
    answer = desk.post(reverse("desk:step", args=[step.uid]), data, **HTMX).content.decode()
    assert "changed this to “€1,234.50” meanwhile" in answer
    assert 'name="theirs-replacement" value="1234.5' in answer
    mine = data | {"theirs-replacement": "1234.50", "settle": "mine:replacement"}
    desk.post(reverse("desk:step", args=[step.uid]), mine, **HTMX)
    step.refresh_from_db()
    assert step.replacement_minor == 900


def test_a_discount_is_settled_too(desk, part):  # noqa: F811
    row = draft(part.restoration)
    change_draft(draft=row, changes={"discount": Decimal(4)}, **WHO)
    data = {"discount": "9", "seen-discount": "0.00"}
    address = reverse("desk:change_draft", args=[part.restoration.uid])
    assert "changed this to “4" in desk.post(address, data, **HTMX).content.decode()
    desk.post(address, data | {"settle": "mine:discount", "theirs-discount": "4"}, **HTMX)
    assert Draft.objects.get(pk=row.pk).discount == 9


def test_a_choice_that_went_away_counts_as_changed_meanwhile(desk, part, shop):  # noqa: F811
    first, last = part.steps.get(operation=shop.blast), part.steps.get(operation=shop.spray)
    third = desk_step(desk, part, shop)
    change_step(step=third, changes={"back_to": first}, **WHO)
    remove_step(step=first, **WHO)
    address = reverse("desk:step", args=[third.uid])
    data = {"back_to": str(last.pk), "seen-back_to": str(first.pk)}
    answer = desk.post(address, data, **HTMX).content.decode()
    assert "changed this to “this step” meanwhile" in answer
    third.refresh_from_db()
    assert third.back_to != last
    desk.post(address, data | {"theirs-back_to": "", "settle": "mine:back_to"}, **HTMX)
    third.refresh_from_db()
    assert third.back_to == last


def test_a_choice_that_went_away_earlier_is_seen_as_none_and_is_no_conflict(desk, part, shop):  # noqa: F811
    first, last = part.steps.get(operation=shop.blast), part.steps.get(operation=shop.spray)
    third = desk_step(desk, part, shop)
    change_step(step=third, changes={"back_to": first}, **WHO)
    remove_step(step=first, **WHO)
    address = reverse("desk:step", args=[third.uid])
    assert 'name="seen-back_to" value=""' in desk.get(address).content.decode()
    answer = desk.post(address, {"back_to": str(last.pk), "seen-back_to": ""}, **HTMX).content.decode()
    assert "meanwhile" not in answer
    third.refresh_from_db()
    assert third.back_to == last


def test_what_is_stored_and_no_value_by_the_rules_of_today_can_still_be_mended(part):
    part.pieces = 200_000  # above what the box takes; put there by other means
    data = {"pieces": "2", "seen-pieces": "200000"}
    form = PartForm(data, instance=part)
    assert saving.seen(form, data, ["pieces"]).get("pieces") is not saving.GONE
    assert saving.seen(form, data | {"seen-pieces": "many"}, ["pieces"]) == {"pieces": saving.GONE}


def test_lines_ended_the_way_a_browser_sends_them_are_no_change(part):
    form = DraftForm(instance=draft(part.restoration))
    assert saving.typed(form, {"note": "a\r\nb", "seen-note": "a\nb"}) == []


def desk_step(desk, part, shop):  # noqa: F811
    """A last step of the part's own, after its finish."""
    desk.post(reverse("desk:add_step", args=[part.uid]), {"origin": "after", "operation": shop.fit.pk})
    return part.steps.get(operation=shop.fit)
