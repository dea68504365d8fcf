from datetime import datetime

from django import template

from shop.floor.selectors import Day, Line

register = template.Library()


@register.filter
def hours(minutes: int) -> str:
    """Minutes as hours and minutes: ``1:05``."""
    return f"{minutes // 60}:{minutes % 60:02}"


@register.filter
def gap_before(line: Line, day: Day) -> tuple[datetime, datetime] | None:
    """The time before a line in which nothing is noted."""
    return next((gap for gap in day.gaps if gap[1] == line.began_at), None)
