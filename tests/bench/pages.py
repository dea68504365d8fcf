"""Every page of the demo against a bare view: signed in, through all middleware, without a query of its own."""

import io
from collections.abc import Iterator

from tests.bench.made_shop import made_shop, with_both_engines
from tests.bench.measure import WALL, side_by_side

ROUNDS = 7
WORST = 5
TARGET = 6


def lines() -> Iterator[str]:
    yield from with_both_engines("tests.bench.pages")


def main() -> None:
    with made_shop():
        from django.core.management import call_command
        from django.http import HttpRequest, HttpResponse
        from django.test import Client
        from django.urls import path

        import shop.urls
        from shop.people.models import User
        from tests.every_page import addresses
        from tests.furnished import furnish

        def bare(_request: HttpRequest) -> HttpResponse:
            return HttpResponse("<!doctype html><title>bare</title>")

        call_command("demo", stdout=io.StringIO())
        every = addresses(furnish())
        shop.urls.urlpatterns.insert(0, path("bare/", bare))
        client = Client()
        client.force_login(User.objects.get(username="manager"))
        pages = [one.path for one in every if not one.enter and _is_page(client, one.path)]
        floor, *times = side_by_side(
            lambda: client.get("/bare/"), *(lambda at=at: client.get(at) for at in pages), rounds=ROUNDS, clock=WALL
        )
        ratios = sorted(((taken / floor, taken, at) for taken, at in zip(times, pages, strict=True)), reverse=True)
        over = sum(ratio > TARGET for ratio, _, _ in ratios)
        print(
            f"{len(pages)} pages, median of {ROUNDS} rounds each; a bare view {floor * 1e3:.1f} ms; the median page "
            f"{ratios[len(ratios) // 2][0]:.1f} times that; {over} over {TARGET} times (target 0)"
        )
        for ratio, taken, at in ratios[:WORST]:
            print(f"worst: {at} {taken * 1e3:.0f} ms, {ratio:.0f} times a bare view")


def _is_page(client: object, path: str) -> bool:
    answer = client.get(path)  # type: ignore[attr-defined]
    return answer.status_code == 200 and answer.headers["content-type"].startswith("text/html")


if __name__ == "__main__":
    main()
