"""Random routes with waits, done, undone, done again and split in any order, against a small model in plain Python."""

from dataclasses import dataclass, field

from django.core.exceptions import ValidationError
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.extra.django import TestCase
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule, run_state_machine_as_test

from shop.methods.models import Operation
from shop.people.models import Grade
from shop.restorations.models import Part, Restoration
from shop.restorations.services import add_part
from shop.routes.again import again
from shop.routes.finishing import finish_step, undo_done
from shop.routes.models import Done, Step, TaskStep
from shop.routes.progress import states
from shop.routes.services import add_step, authorise, remove_step, wait_for
from shop.routes.splitting import split_part
from shop.routes.tasks import form_tasks
from tests.workshop import NOW, WHO, restoration


@dataclass(eq=False)
class Node:
    """A step of the model: where it stands on its part, what it waits for, and whether it is done on this visit."""

    part: int
    place: int
    of: "Node | None" = None
    waits: list["Node"] = field(default_factory=list)
    done: bool = False
    gone: bool = False
    visit: int = 1


class Model:
    """The rules said as plainly as possible: all that comes before a step, however indirectly, is done."""

    def __init__(self) -> None:
        self.nodes: list[Node] = []

    def live(self, node: Node) -> bool:
        return not node.gone and not (node.of and node.of.gone)

    def route(self, part: int) -> list[Node]:
        return sorted((n for n in self.nodes if n.part == part and self.live(n)), key=lambda n: n.place)

    def before(self, node: Node) -> list[Node]:
        own = [n for n in self.route(node.part) if n.place < node.place]
        found = own[-1:]
        for awaited in (node.of or node).waits:
            stand = awaited
            if not self.live(awaited):
                earlier = [n for n in self.route(awaited.part) if n.place < awaited.place]
                if not earlier:
                    continue
                stand = earlier[-1]
            found += [n for n in self.nodes if n is stand or n.of is stand]
        return [n for n in found if self.live(n) and n is not node]

    def all_before(self, node: Node) -> set[int]:
        seen: set[int] = set()
        todo = [node]
        while todo:
            for one in self.before(todo.pop()):
                if id(one) not in seen:
                    seen.add(id(one))
                    todo.append(one)
        return seen

    def ready(self, node: Node) -> bool:
        before = self.all_before(node)
        return not node.done and all(n.done for n in self.nodes if id(n) in before)

    def after(self, node: Node) -> list[Node]:
        return [n for n in self.nodes if self.live(n) and id(node) in self.all_before(n)]


class Floor(RuleBasedStateMachine):
    bike: Restoration

    @initialize(lengths=st.lists(st.integers(1, 4), min_size=1, max_size=3), data=st.data())
    def routes(self, lengths: list[int], data: st.DataObject) -> None:
        """Parts of four pieces; waits only lead from later parts to earlier ones, so that no circle closes."""
        self.bike = restoration()
        grade, _new = Grade.objects.get_or_create(name="mechanic")
        work, _new = Operation.objects.get_or_create(name="Work", defaults={"grade": grade, "measure": "piece"})
        self.model, self.rows, self.parts = Model(), {}, {}
        for index, length in enumerate(lengths):
            self.parts[index] = part = add_part(restoration=self.bike, name=f"Part {index}", pieces=4, **WHO)
            earlier = [node for node in self.model.nodes if node.part < index]
            for _place in range(length):
                step = add_step(part=part, origin=Step.Origin.BEFORE, operation=work, **WHO)
                node = Node(index, step.position)
                self.model.nodes.append(node)
                self.rows[id(node)] = step
                if earlier and data.draw(st.booleans()):
                    on = data.draw(st.sampled_from(earlier))
                    wait_for(step=step, on=self.rows[id(on)], **WHO)
                    node.waits.append(on)
        authorise(step_uids=[row.uid for row in self.rows.values()], kind="quote", reference="Q1", now=NOW)
        form_tasks(restoration=self.bike, now=NOW)
        self.visits: dict[int, int] = {}

    def drawn(self, data: st.DataObject) -> tuple[Node, Step] | None:
        live = [node for node in self.model.nodes if self.model.live(node)]
        if not live:
            return None
        node = data.draw(st.sampled_from(live))
        return node, Step.objects.select_related("part").get(pk=self.rows[id(node)].pk)

    @rule(data=st.data())
    def finish(self, data: st.DataObject) -> None:
        if not (found := self.drawn(data)):
            return
        node, step = found
        could = {id(n) for n in self.model.nodes if self.model.live(n) and self.model.ready(n)}
        if node.done:
            assert finish_step(step=step, **WHO) == []
            return
        if not self.model.ready(node):
            self.refused(lambda: finish_step(step=step, **WHO))
            return
        told = {row.pk for row in finish_step(step=step, **WHO)}
        node.done = True
        can = {id(n) for n in self.model.nodes if self.model.live(n) and self.model.ready(n)}
        assert told == {self.rows[key].pk for key in can - could}

    @rule(data=st.data())
    def undo(self, data: st.DataObject) -> None:
        if not (found := self.drawn(data)):
            return
        node, step = found
        if node.done and any(n.done for n in self.model.after(node)):
            self.refused(lambda: undo_done(step=step, **WHO))
            return
        undo_done(step=step, **WHO)
        node.done = False

    @rule(data=st.data())
    def redo(self, data: st.DataObject) -> None:
        if not (found := self.drawn(data)):
            return
        node, step = found
        to = data.draw(st.sampled_from(self.model.route(node.part)))
        back = Step.objects.get(pk=self.rows[id(to)].pk)
        if to.place > node.place or not (node.done or self.model.ready(node)):
            self.refused(lambda: again(step=step, back_to=back, remedies=[], **WHO))
            return
        again(step=step, back_to=back, remedies=[], **WHO)
        for one in self.model.route(node.part):
            if to.place <= one.place <= node.place and (one.done or one is node):
                one.done, one.visit = False, one.visit + 1

    @rule(data=st.data())
    def split(self, data: st.DataObject) -> None:
        index = data.draw(st.sampled_from(sorted(self.parts)))
        part = Part.objects.get(pk=self.parts[index].pk)
        if part.pieces < 2:
            self.refused(lambda: split_part(part=part, pieces=1, **WHO))
            return
        new_index = len(self.parts)
        self.parts[new_index] = new = split_part(part=part, pieces=1, **WHO)
        copies = {row.position: row for row in new.steps.all()}
        for node in self.model.route(index):
            copy = Node(new_index, node.place, of=node.of or node, done=node.done, visit=node.visit)
            self.model.nodes.append(copy)
            self.rows[id(copy)] = copies[node.place]

    @rule(data=st.data())
    def take_off(self, data: st.DataObject) -> None:
        """Only a step that was not split: its copies would go with it, which another test holds."""
        found = self.drawn(data)
        if found and found[0].of is None and not found[0].done:
            remove_step(step=found[1], **WHO)
            found[0].gone = True

    def refused(self, call: object) -> None:
        try:
            call()  # type: ignore[operator]
        except ValidationError:
            return
        raise AssertionError("it should have been refused")

    @invariant()
    def stands_as_in_the_model(self) -> None:
        if not hasattr(self, "visits"):
            return
        found = states([self.bike], now=NOW)
        live = [node for node in self.model.nodes if self.model.live(node)]
        assert found.keys() == {self.rows[id(node)].pk for node in live}
        for node in live:
            state = found[self.rows[id(node)].pk]
            assert state.is_done == node.done
            assert state.is_ready == self.model.ready(node)
            assert state.step.visit == node.visit >= self.visits.get(state.step.pk, 1)
            self.visits[state.step.pk] = state.step.visit
            assert state.is_ready or state.is_done or state.sentences
            assert node.done == Done.objects.filter(step=state.step, visit=node.visit, undone_at=None).exists()
            assert node.done or TaskStep.objects.filter(step=state.step, visit=node.visit).exists()

    def teardown(self) -> None:
        """Everything goes with the transaction of the run."""


class RandomFloor(TestCase):
    def test_steps_stand_as_the_model_says_whatever_is_done_in_whatever_order(self) -> None:
        from django.db import transaction

        class Undone(Floor):
            def __init__(self) -> None:
                super().__init__()
                self.atomic = transaction.atomic()
                self.atomic.__enter__()

            def teardown(self) -> None:
                transaction.set_rollback(True)
                self.atomic.__exit__(None, None, None)

        run_state_machine_as_test(
            Undone,
            settings=settings(
                max_examples=25,
                stateful_step_count=14,
                deadline=None,
                suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
            ),
        )
