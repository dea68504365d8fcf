"""The work on a bike at the desk: what stands where, what is back, what is split; tasks put together anew."""

from typing import Any
from uuid import uuid4

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from shop.methods.models import PartKind
from shop.restorations.models import Part, Restoration
from shop.routes.models import Done, Override, Step, Task, TaskStep
from shop.routes.services import add_step
from shop.routes.tasks import form_tasks, indirect_task
from tests.at_the_bench import agreed, bench_frame
from tests.routes.aways import out
from tests.workshop import NOW, WHO, Workshop, restoration, workshop

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop() -> Workshop:
    return workshop()


@pytest.fixture
def bike(shop: Workshop) -> Restoration:
    return restoration()


def formed(part: Part) -> list[Step]:
    found = agreed(part)
    form_tasks(restoration=part.restoration, now=NOW)
    return found


def page(client: Client, bike: Restoration) -> str:
    answer = client.get(f"/restorations/{bike.uid}/work/")
    assert answer.status_code == 200
    return answer.content.decode()


def post(client: Client, address: str, **data: Any) -> str:
    answer = client.post(address, data, follow=True)
    assert answer.status_code in {200, 422}
    return answer.content.decode()


def test_what_is_out_or_on_order_says_so_and_has_no_button(
    front_desk: Client, shop: Workshop, bike: Restoration
) -> None:
    part = bench_frame(bike, shop, name="Lever", finish=shop.zinc)
    add_step(part=part, origin=Step.Origin.AFTER, buy="Seal", buy_source="used", **WHO)
    formed(part)
    out(part.steps.get(service=shop.plate))
    out(part.steps.get(buy="Seal"), where="Old Stock Ltd")
    html = page(front_desk, bike)
    assert '<span class="tag">out</span>' in html
    assert '<span class="tag">on order</span>' in html
    assert "It has been at Brook Platers since" in html
    assert "Is back<span" not in html
    assert "Is here<span" not in html


def test_each_step_says_how_it_stands_and_has_the_button_that_fits_it(
    front_desk: Client, shop: Workshop, bike: Restoration
) -> None:
    part = bench_frame(bike, shop, name="Lever", finish=shop.zinc)
    add_step(part=part, origin=Step.Origin.AFTER, buy="Seal", buy_source="used", **WHO)
    formed(part)
    html = page(front_desk, bike)
    assert "Is back<span" in html
    assert "Is here<span" in html
    assert "Lever has to be back from Brook Platers first (Zinc plate)." in html
    post(front_desk, f"/steps/{part.steps.get(service=shop.plate).uid}/done/")
    assert Done.objects.get().step.service == shop.plate
    assert "Take back<span" in page(front_desk, bike)


def test_what_cannot_be_done_yet_is_refused_with_what_it_waits_for(
    front_desk: Client, shop: Workshop, bike: Restoration
) -> None:
    blast, spray = formed(bench_frame(bike, shop))
    assert "“Blast” comes first." in post(front_desk, f"/steps/{spray.uid}/done/")
    assert "Can begin now: Frame: Spray." in post(front_desk, f"/steps/{blast.uid}/done/")
    assert "it is still to do" in post(front_desk, f"/steps/{blast.uid}/not-done/")
    assert Done.objects.get().undone_by == "ada"


def test_a_part_is_split_and_put_together_again_on_its_page(
    front_desk: Client, shop: Workshop, bike: Restoration
) -> None:
    part = bench_frame(bike, shop, name="Bolts", pieces=4)
    formed(part)
    html = post(front_desk, f"/parts/{part.uid}/split/", pieces=4)
    assert "It has 4 pieces." in html
    assert 'value="4"' in html
    post(front_desk, f"/parts/{part.uid}/split/", pieces=1)
    new = Part.objects.get(split_from=part)
    assert "Bolts (1 of 4)" in page(front_desk, bike)
    assert "Together again: Bolts" in post(front_desk, f"/parts/{new.uid}/together/")


def test_a_part_split_off_is_none_of_the_parts_that_are_priced(
    front_desk: Client, shop: Workshop, bike: Restoration
) -> None:
    part = bench_frame(bike, shop, name="Bolts", pieces=4)
    formed(part)
    post(front_desk, f"/parts/{part.uid}/split/", pieces=1)
    assert "Bolts (1 of 4)" not in front_desk.get(f"/restorations/{bike.uid}/").content.decode()
    new = Part.objects.get(split_from=part)
    assert front_desk.get(f"/parts/{new.uid}/").status_code < 500
    saved = front_desk.post(f"/parts/{part.uid}/", {"pieces": "9", "seen-pieces": "3"})
    assert "go their own way" in saved.content.decode()


def test_it_is_coated_without_a_trial_fit_only_by_name(front_desk: Client, shop: Workshop, bike: Restoration) -> None:
    kind = PartKind.objects.create(name="Bracket", fitted_first=True)
    blast, _spray = formed(bench_frame(bike, shop, kind=kind))
    address = f"/restorations/{bike.uid}/without-fitting/"
    html = post(front_desk, address, step=blast.pk, who_decided="", reason="Made to measure")
    assert "Made to measure" in html
    assert not Override.objects.exists()
    post(front_desk, address, step=blast.pk, who_decided="Ada", reason="Made to measure")
    assert Override.objects.get(kind="trial").step == blast


def seen(*steps: Step) -> list[str]:
    rows = TaskStep.objects.filter(step__in=steps)
    return [f"{row.pk}:{row.task_id}" for row in rows]


def test_steps_of_two_bikes_are_put_into_a_new_task(front_desk: Client, shop: Workshop, bike: Restoration) -> None:
    one, _spray = formed(bench_frame(bike, shop))
    two, _spray = formed(bench_frame(restoration("Wren"), shop))
    lines = seen(one, two)
    html = post(front_desk, "/tasks/move/", line=lines, name="", to="")
    assert "Give the new task a name" in html
    assert html.count(" checked") == 2
    post(front_desk, "/tasks/move/", line=lines, name="Blasting day", to="", alone="on")
    task = Task.objects.get(name="Blasting day")
    assert (task.restoration, task.alone, task.lines.count()) == (None, True, 2)
    html = post(front_desk, "/tasks/move/", line=lines, name="Mine", to="")
    assert "Somebody else moved" in html
    assert not Task.objects.filter(name="Mine").exists()
    assert "Choose the steps to move first" in post(front_desk, "/tasks/move/", name="Mine", to="")


def test_tasks_are_renamed_from_what_was_seen_and_closed(front_desk: Client, shop: Workshop, bike: Restoration) -> None:
    blast, _spray = formed(bench_frame(bike, shop))
    task = TaskStep.objects.get(step=blast).task
    given = {"name": "Cabinet", "alone": "on", "seen-name": task.name, "seen-alone": "False", "bike": bike.uid}
    assert "Saved." in post(front_desk, f"/tasks/{task.uid}/", **given)
    assert "Somebody else changed this to “Cabinet”" in post(
        front_desk, f"/tasks/{task.uid}/", **(given | {"name": "Else"})
    )
    task.refresh_from_db()
    assert (task.name, task.alone) == ("Cabinet", True)
    assert "still something to do" in post(front_desk, f"/tasks/{task.uid}/close/")


def test_what_is_for_no_bike_is_added_once(front_desk: Client, shop: Workshop) -> None:
    other = indirect_task(name="Telephone", **WHO)
    assert "There is such a task already" in post(front_desk, "/tasks/for-no-bike/", name="Telephone")
    assert "can be booked on" in post(front_desk, "/tasks/for-no-bike/", name="Sweeping")
    sweeping = Task.objects.get(name="Sweeping")
    given = {"name": "Telephone", "seen-name": "Sweeping", "seen-alone": "False"}
    assert "There is such a task already" in post(front_desk, f"/tasks/{sweeping.uid}/", **given)
    post(front_desk, f"/tasks/{other.uid}/close/")
    assert "Telephone" not in front_desk.get("/tasks/").content.decode()


def test_agreed_steps_in_no_task_are_said_and_put_into_one(
    front_desk: Client, shop: Workshop, bike: Restoration
) -> None:
    agreed(bench_frame(bike, shop))
    assert "2 agreed steps are in no task yet." in page(front_desk, bike)
    post(front_desk, f"/restorations/{bike.uid}/form-tasks/")
    assert "in no task yet" not in page(front_desk, bike)


def test_a_mechanic_finds_none_of_it_and_what_is_not_there_is_not_found(
    mechanic: Client, front_desk: Client, bike: Restoration
) -> None:
    assert mechanic.get(f"/restorations/{bike.uid}/work/").status_code == 403
    assert mechanic.post("/tasks/move/").status_code == 403
    assert front_desk.post(f"/steps/{uuid4()}/done/").status_code == 404
    assert front_desk.get("/tasks/", {"bike": "no uid"}).status_code == 200


def test_whoever_only_looks_is_led_back(front_desk: Client, shop: Workshop, bike: Restoration) -> None:
    blast, _spray = formed(bench_frame(bike, shop))
    task, part = TaskStep.objects.get(step=blast).task, blast.part
    of_bike = [f"/steps/{blast.uid}/done/", f"/steps/{blast.uid}/not-done/", f"/parts/{part.uid}/split/"]
    of_bike += [f"/parts/{part.uid}/together/", *(f"/restorations/{bike.uid}/{way}/" for way in WAYS)]
    of_tasks = ["/tasks/move/", "/tasks/for-no-bike/", f"/tasks/{task.uid}/", f"/tasks/{task.uid}/close/"]
    assert {front_desk.get(one).headers["Location"] for one in of_bike} == {f"/restorations/{bike.uid}/work/"}
    assert {front_desk.get(one).headers["Location"] for one in of_tasks} == {"/tasks/"}


WAYS = ("form-tasks", "without-fitting")


def test_one_part_and_many_take_as_many_queries(front_desk: Client, shop: Workshop, bike: Restoration) -> None:
    def queries() -> list[int]:
        counts = []
        for address in (f"/restorations/{bike.uid}/work/", "/tasks/"):
            with CaptureQueriesContext(connection) as asked:
                assert front_desk.get(address).status_code == 200
            counts.append(len(asked))
        return counts

    formed(bench_frame(bike, shop))
    queries()
    alone = queries()
    for number in range(5):
        formed(bench_frame(bike, shop, name=f"Stay {number}", area_name=f"Area {number}", pieces=2))
    assert queries() == alone


def test_many_parts_come_page_by_page_and_a_refused_form_is_shown_with_its_part(
    front_desk: Client, shop: Workshop, bike: Restoration
) -> None:
    parts = [bench_frame(bike, shop, name=f"Clip {number}", pieces=4) for number in range(23)]
    for part in parts:
        agreed(part)
    form_tasks(restoration=bike, now=NOW)
    first = page(front_desk, bike)
    assert "Page 1 of 2" in first
    assert "Clip 22 " not in first
    refused = post(front_desk, f"/parts/{parts[22].uid}/split/", pieces=4)
    assert "Page 2 of 2" in refused
    assert "Clip 22 " in refused
