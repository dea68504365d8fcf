"""A plan the plain way: step by step in an order of work, minute by minute, without batches and latest waits.

What is done takes nothing; what is out has ended when the day it is told for closes, or the first one that can still be.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from decimal import ROUND_HALF_UP, Decimal
from graphlib import TopologicalSorter

from quotes.engine.inputs import Part, Restoration, Step, Work
from tests.engine.days import Minutes


@dataclass
class Plain:
    """The shop, the same without held days, vendors; minutes from the midnight of the first day."""

    restoration: Restoration
    minutes: Mapping[str, Decimal]
    days: int

    def __post_init__(self) -> None:
        schedule = self.restoration.schedule
        assert schedule is not None
        first = date.fromisoformat(schedule.starts_on)
        self.walks = {item.key: Minutes.of(item, first, self.days) for item in schedule.calendars}
        (own,) = (item for item in schedule.calendars if not item.key)
        self.shop, self.bike = self.walks[""], Minutes.of(own, first, self.days, schedule.held)
        self.works = {
            **{(Work.OPERATION, item.key): item for item in self.restoration.operations},
            **{(Work.SERVICE, item.key): item for item in self.restoration.services},
            **{(Work.PURCHASE, item.key): item for item in self.restoration.purchases},
        }
        self.steps = {step.uid: (part, step) for part in self.restoration.parts for step in part.steps}
        self.settled = {item.step: item.back for item in schedule.settled}
        self.before: dict[str, set[str]] = {}
        for part in self.restoration.parts:
            for earlier, step in zip((None, *part.steps), part.steps, strict=False):
                self.before[step.uid] = {*step.waits_for} | ({earlier.uid} if earlier else set())

    def end_of(self, uid: str, ready: int) -> int:
        part, step = self.steps[uid]
        if not self.has_work(part, step) or self.settled.get(uid) == "":
            return ready
        if uid in self.settled:
            day = max(0, self.shop.day(self.settled[uid]))
            while not self.shop.works_on(day):
                day += 1
            return max(ready, self.shop.closing(day))
        work = self.works[step.work, step.ref]
        minutes = int(self.minutes[uid].to_integral_value(ROUND_HALF_UP))
        if self.is_followed_up(part, step) and minutes:
            ready = self.bike.together(ready, minutes)
        done = self.bike.add(ready, minutes)
        if step.work is Work.OPERATION:
            return done + int(work.elapsed)
        leaves = self.bike.day_at(done)
        if step.work is Work.PURCHASE:
            return self.shop.closing(self.shop.after(leaves, work.lead_days)) if work.lead_days else done
        there = self.walks[work.calendar].after(self.shop.after(leaves, work.transport_days), work.lead_days)
        return self.shop.closing(self.shop.after(there, work.transport_days))

    def is_followed_up(self, part: Part, step: Step) -> bool:
        """Whether what comes next on its part must begin in time."""
        work = self.works[step.work, step.ref]
        return step is not part.steps[-1] and step.work is Work.OPERATION and work.latest_wait is not None

    @staticmethod
    def has_work(part: Part, step: Step) -> bool:
        return bool(part.pieces) and step.quantity != 0

    def ends(self, not_before: Mapping[str, int] | None = None) -> dict[str, int]:
        """When every step has ended, if none begins before its instant in ``not_before``."""
        held, start = not_before or {}, self.bike.opening(0)
        ended: dict[str, int] = {}
        for uid in TopologicalSorter(self.before).static_order():
            ready = max([start, held.get(uid, 0), *[ended[pred] for pred in self.before[uid]]])
            ended[uid] = self.end_of(uid, ready)
        return ended

    def ready_day(self, ended: Mapping[str, int]) -> int:
        return self.bike.day_at(max(ended.values()))
