"""When people of made history worked: on working days of a made shop, in its hours, never two things at once."""

from datetime import UTC, date, datetime, time, timedelta

from django.utils import timezone

from quotes.engine.attended import Pause, breaks_between, instant, minute

#: Hours of a made working day, in local time: before noon and after.
HOURS = ((time(8), time(12)), (time(12, 30), time(16, 30)))
LEAST = 5  # shorter pieces are left for another day [min]
Slot = tuple[int, int]


class Hands:
    """What is left of everybody's days. Minutes are those of the UTC time line."""

    def __init__(self, pauses: list[Pause]) -> None:
        self.pauses = pauses
        self._days: dict[tuple[str, date], list[Slot]] = {}

    def work(self, who: str, minutes: int, *, earliest: datetime) -> list[Slot]:
        """Take so many minutes of somebody's time from ``earliest`` on; the pieces, in order."""
        begin, taken = minute(earliest), []
        day = timezone.localdate(earliest)
        while minutes > 0:
            free = self._free(who, day)
            left: list[Slot] = []
            for first, last in free:
                start = max(first, begin)
                usable = last - start
                if minutes <= 0 or usable < min(LEAST, minutes):
                    left.append((first, last))
                    continue
                end = start + min(usable, minutes)
                taken.append((start, end))
                minutes -= end - start
                left += [slot for slot in ((first, start), (end, last)) if slot[0] < slot[1]]
            self._days[who, day] = left
            day += timedelta(days=1)
        return taken

    def _free(self, who: str, day: date) -> list[Slot]:
        if day.weekday() > 4:
            return []
        return self._days.setdefault((who, day), self._whole(day))

    def _whole(self, day: date) -> list[Slot]:
        """The hours of a day without the breaks the shop has."""
        zone = timezone.get_current_timezone()
        found: list[Slot] = []
        for begins, ends in HOURS:
            first, last = (minute(datetime.combine(day, each, zone).astimezone(UTC)) for each in (begins, ends))
            at = first
            for begin, end, _paid in breaks_between(first, last, self.pauses, zone):
                found += [(at, begin)] if at < begin else []
                at = end
            found += [(at, last)] if at < last else []
        return found


def moment(minutes: int) -> datetime:
    """Where a minute begins."""
    return instant(minutes)


def working_days_after(day: date, count: int) -> date:
    """So many working days later."""
    while count > 0:
        day += timedelta(days=1)
        count -= day.weekday() < 5
    return day
