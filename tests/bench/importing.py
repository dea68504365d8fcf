"""A parts list of 2,000 rows: read and shown, as CSV and as XLSX, beside reading the same text bare; and written."""

import csv
import io
import os
from collections.abc import Iterator
from decimal import Decimal

from tests.bench.measure import WALL, seconds, side_by_side

ROWS = 2_000


def lines() -> Iterator[str]:
    import django

    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shop.settings")
    django.setup()
    from quotes.desk import importing
    from quotes.desk.cells import Known
    from quotes.desk.previewing import preview
    from quotes.desk.tables import as_csv, as_xlsx
    from shop.methods.models import Finish, FinishStep, SizeClass
    from shop.routes.laying import Routes

    finishes = [Finish(pk=number, name=f"Finish {number}") for number in range(1, 30)]
    routes = Routes(
        {(one.pk, "steel", way): [FinishStep(position=1)] for one in finishes for way in ("apply", "remove")}
    )
    known = Known(finishes, [SizeClass(pk=1, name="Small")], routes)
    rows = [
        [f"Part {n}", f"Area {n % 12}", 1 + n % 4, "steel", "Small", Decimal(n) / 10, Decimal("0.25"), n % 3, 0, "worn",
         800, Decimal("6.5"), f"Finish {1 + n % 29}", f"Finish {1 + n % 7}", n % 2]
        for n in range(ROWS)
    ]  # fmt: skip
    text = as_csv(importing.headings(), rows, comma=False)
    sheet = as_xlsx(importing.headings(), rows, title="parts")

    def shown(content: bytes) -> object:
        found = importing.read(content, known)
        assert not found.wrong
        return preview("x", found.rows)

    def bare() -> object:
        return list(csv.reader(io.StringIO(text.decode("utf-8-sig"))))

    plain, of_text, of_sheet = side_by_side(bare, lambda: shown(text), lambda: shown(sheet), rounds=5, clock=WALL)
    yield f"{ROWS} rows of CSV previewed in {of_text * 1000:.0f} ms, {of_text / plain:.0f} times a bare reading"
    yield f"{ROWS} rows of XLSX previewed in {of_sheet * 1000:.0f} ms, {of_sheet / plain:.0f} times a bare reading of the CSV"
    written = seconds(lambda: as_xlsx(importing.headings(), rows, title="parts"), rounds=3)
    yield f"{ROWS} rows written as XLSX in {written * 1000:.0f} ms"
