"""What others do for us and sell to us, and what reminds us of it."""

from shop.vendor_jobs.models.buying import CoreReturn, Order, Ordered, Supplier
from shop.vendor_jobs.models.jobs import Charge, Claim, Job, Line, Promise, Terms, Tick
from shop.vendor_jobs.models.reminders import Feed, Kind, Quiet, Reminder, Rule

__all__ = [
    "Charge",
    "Claim",
    "CoreReturn",
    "Feed",
    "Job",
    "Kind",
    "Line",
    "Order",
    "Ordered",
    "Promise",
    "Quiet",
    "Reminder",
    "Rule",
    "Supplier",
    "Terms",
    "Tick",
]
