"""Facts become cost entries. `everything` looks at what is new since it looked last, and is safe to repeat.

Nothing pushes: whoever looks at costs has them posted first. What turned out different is reversed and posted anew.
"""

from datetime import datetime

from django.db import transaction

from quotes.margin import budgets
from quotes.margin.posting import labour, material, orders, vendors
from quotes.margin.posting.kept import Kept, hold


@transaction.atomic
def everything(*, now: datetime) -> Kept:
    """Post what is not posted yet; how many entries were made and reversed. One at a time: a second one waits."""
    hold()
    budgets.mend(now=now)
    found = Kept()
    for source in (labour, vendors, orders, material):
        found += source.post(now=now)
    return found
