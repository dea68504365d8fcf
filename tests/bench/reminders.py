"""Twenty thousand reminders due at once: raised beside a plain insert of as many rows, found again, and told in one digest."""

from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta

from tests.bench.made_shop import made_shop, with_both_engines
from tests.bench.measure import WALL, seconds

#: Each is reminded of at the desk and has climbed to the manager: two reminders.
ORDERS = 10_000
NOW = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)


def lines() -> Iterator[str]:
    yield from with_both_engines("tests.bench.reminders")


def fill() -> None:
    """Orders that are late, without services: what is measured is how they are reminded of."""
    from shop.vendor_jobs.models import Order, Supplier

    told = {"ordered_on": date(2026, 1, 5), "due_on": date(2026, 2, 2), "at": NOW, "recorded_by": "bench"}
    supplier = Supplier.objects.create(name="Marsh Spares")
    Order.objects.bulk_create(Order(number=number, supplier=supplier, **told) for number in range(1, ORDERS + 1))


def main() -> None:
    with made_shop():
        from django.db import connection, transaction
        from django.test.utils import CaptureQueriesContext

        from shop.people.roles import ROLE_DESK
        from shop.vendor_jobs.models import Order, Reminder
        from shop.vendor_jobs.reminding import telling
        from shop.vendor_jobs.reminding.raising import raise_reminders
        from shop.vendor_jobs.reminding.selectors import open_reminders

        fill()
        order = Order.objects.all()[0]

        def plain() -> None:
            rows = (
                Reminder(key=f"plain/{number}", kind="order_late", order=order, about_on=order.due_on, raised_at=NOW)
                for number in range(2 * ORDERS)
            )
            with transaction.atomic():
                Reminder.objects.bulk_create(rows)
                transaction.set_rollback(True)

        def digest() -> str:
            day = NOW.date()
            return telling.text(list(open_reminders(roles=[ROLE_DESK], today=day)), day)

        inserted = seconds(plain, rounds=1, clock=WALL)
        with CaptureQueriesContext(connection) as asked:
            raised = seconds(lambda: raise_reminders(now=NOW), rounds=1, clock=WALL)
        made = Reminder.objects.count()
        again = seconds(lambda: raise_reminders(now=NOW + timedelta(minutes=1)), rounds=1, clock=WALL)
        told = seconds(digest, rounds=1, clock=WALL)
        assert made == Reminder.objects.count() == 2 * ORDERS, made
        print(
            f"{made} reminders of {ORDERS} late orders raised at once in {len(asked)} statements, {raised / inserted:.1f} times a "
            f"plain insert of as many rows; found again {again / inserted:.1f} times, one digest of all {told / inserted:.1f} times"
        )


if __name__ == "__main__":
    main()
