"""The hidden truth of made history, from ``fixtures/history.toml``. Nothing that learns reads it."""

import tomllib
from pathlib import Path
from typing import Any

from django.conf import settings

from quotes.engine.learning.making import Customers, Mechanic, Truth, Vendor
from shop.methods.models import Operation
from shop.people.models import Grade

FILE = Path(settings.BASE_DIR) / "fixtures" / "history.toml"


def told() -> dict[str, Any]:
    """The file as it stands."""
    return tomllib.loads(FILE.read_text(encoding="utf-8"))


def truth() -> Truth:
    """What the file says of this shop: operations by uid, grades by uid, services, causes and damages by name or word."""
    said = told()
    operations = {row.name: str(row.uid) for row in Operation.objects.all()}
    grades = {row.name: str(row.uid) for row in Grade.objects.all()}
    return Truth(
        **said["spread"],
        operations={operations[name]: _pair(value) for name, value in said["operation"].items() if name in operations},
        mechanics=[
            Mechanic(one["username"], one["name"], tuple(grades[name] for name in one["grades"]), one["pace"])
            for one in said["mechanic"]
        ],
        rework={operations[name]: chance for name, chance in said["rework"]["operation"].items() if name in operations},
        causes=said["rework"]["cause"],
        damages=said["damage"]["word"],
        vendors={one["name"]: Vendor(one["lead"], one["spread"], one["charge"]) for one in said["service"]},
        customers=Customers(**said["customers"]),
    )


def _pair(value: Any) -> tuple[float, float]:
    return (value["setup"], value["run"]) if isinstance(value, dict) else (value, value)
