"""The kinds of things in a price."""

from decimal import Decimal
from enum import StrEnum

ZERO = Decimal(0)
ONE = Decimal(1)


class Measure(StrEnum):
    """What time, usage or price goes by."""

    BATCH = "batch"
    PIECE = "piece"
    DM2 = "dm2"
    KG = "kg"
    OPENING = "opening"
    SPOKE = "spoke"
    HOUR = "hour"


class By(StrEnum):
    """How a consumable is used."""

    MEASURE = "measure"
    FILM = "film"
    POWDER = "powder"


class Work(StrEnum):
    """What kind of work a step is."""

    OPERATION = "operation"
    SERVICE = "service"
    PURCHASE = "purchase"


class PriceBy(StrEnum):
    """How labour is sold."""

    MARGIN = "margin"
    CHARGE_OUT = "charge_out"


class OverheadBy(StrEnum):
    """What the overhead rate is laid on."""

    HOURS = "hours"
    LABOUR = "labour"


class Basis(StrEnum):
    """What a line of a quote promises: a price, an estimate with a cap, or hours up to a limit at which we ask."""

    FIXED = "fixed"
    CAPPED = "capped"
    HOURLY = "hourly"


class Treatment(StrEnum):
    """Who pays for a possible damage if it is found: we, the customer at a price agreed before the work, or nobody by this offer."""

    OURS = "ours"
    PROVISIONAL = "provisional"
    EXCLUDED = "excluded"


class CostClass(StrEnum):
    """What a cost is mostly made of, and so by which margin it is sold."""

    LABOUR = "labour"
    VENDOR = "vendor"
    BOUGHT_IN = "bought_in"


class TaxBy(StrEnum):
    """Where tax is rounded."""

    LINE = "line"
    DOCUMENT = "document"
