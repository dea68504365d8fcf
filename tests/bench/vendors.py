"""The page of a vendor with five thousand jobs behind it, against a bare view: signed in, all middleware, no query of its own."""

from collections.abc import Iterator
from datetime import timedelta

from tests.bench.made_shop import made_shop, with_both_engines
from tests.bench.measure import WALL, side_by_side

JOBS = 5_000
ROUNDS = 15
TARGET = 6


def lines() -> Iterator[str]:
    yield from with_both_engines("tests.bench.vendors")


def main() -> None:
    with made_shop():
        from django.db import connection
        from django.http import HttpRequest, HttpResponse
        from django.test import Client
        from django.test.utils import CaptureQueriesContext
        from django.urls import path

        import shop.urls
        from shop.people.models import User
        from shop.vendor_jobs.models import Charge, Job, Line
        from tests.vendor_jobs.lots import came, lever, sent
        from tests.workshop import NOW, TODAY, restoration, workshop

        def bare(_request: HttpRequest) -> HttpResponse:
            return HttpResponse("<!doctype html><title>bare</title>")

        shop.urls.urlpatterns.insert(0, path("bare/", bare))
        job = sent(lever(restoration(), workshop()))
        came(job, good=4)
        job.refresh_from_db()
        manager = User.objects.create_superuser(username="manager", password="far from any wordlist 7")
        client = Client()
        client.force_login(manager)
        page = f"/vendor-work/vendors/{job.vendor.uid}/"

        def asked() -> int:
            client.get(page)
            with CaptureQueriesContext(connection) as found:
                assert client.get(page).status_code == 200
            return len(found)

        few, line = asked(), job.lines.get()
        common = {"service": job.service, "made_at": NOW, "made_by": "ada", "sent_at": NOW, "sent_by": "ada"}
        rows = [
            Job(number=number, sent_on=TODAY - timedelta(days=number), back_on=TODAY, agreed_minor=5_000, **common)
            for number in range(2, JOBS + 1)
        ]
        made = Job.objects.bulk_create(rows)
        settled = {"outcome": "good", "back_on": TODAY, "looked_by": "Bea", "settled_at": NOW, "settled_by": "ada"}
        Line.objects.bulk_create(Line(job=row, step=line.step, pieces=4, **settled) for row in made)
        Charge.objects.bulk_create(
            Charge(job=row, net_minor=5_000, on=TODAY, at=NOW, recorded_by="ada") for row in made
        )
        many = asked()
        assert many == few, f"{few} queries with one job, {many} with {JOBS}"
        floor, taken = side_by_side(lambda: client.get("/bare/"), lambda: client.get(page), rounds=ROUNDS, clock=WALL)
        print(
            f"{JOBS} jobs of history, {many} queries as with one; the vendor's page {taken * 1e3:.0f} ms, {taken / floor:.1f} times a "
            f"bare view of {floor * 1e3:.1f} ms (target {TARGET})"
        )


if __name__ == "__main__":
    main()
