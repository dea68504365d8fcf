"""What a price is made from. Plain frozen values; every number is a `Decimal`, every thing has a key.

Units: minutes [min], areas [dm²], weights [kg], film [µm], money in major units of the shop's currency.
``source`` says where a thing's numbers come from and from which date, in words.
"""

from quotes.engine.inputs.days import Calendar, Held, Schedule, Settled
from quotes.engine.inputs.kinds import (
    ONE,
    ZERO,
    Basis,
    By,
    CostClass,
    Measure,
    OverheadBy,
    PriceBy,
    TaxBy,
    Treatment,
    Work,
)
from quotes.engine.inputs.unknowns import NONE_OF_THESE, Candidate, Damage, Evidence, FinishQuestion, LookUp
from quotes.engine.inputs.whole import Credit, Part, PaymentStage, Policy, Restoration, TaxRate
from quotes.engine.inputs.work import (
    Break,
    Consumable,
    Grade,
    Operation,
    Purchase,
    Remedy,
    Service,
    Step,
    Usage,
    WayBack,
)

__all__ = [
    "NONE_OF_THESE",
    "ONE",
    "ZERO",
    "Basis",
    "Break",
    "By",
    "Calendar",
    "Candidate",
    "Consumable",
    "CostClass",
    "Credit",
    "Damage",
    "Evidence",
    "FinishQuestion",
    "Grade",
    "Held",
    "LookUp",
    "Measure",
    "Operation",
    "OverheadBy",
    "Part",
    "PaymentStage",
    "Policy",
    "PriceBy",
    "Purchase",
    "Remedy",
    "Restoration",
    "Schedule",
    "Service",
    "Settled",
    "Step",
    "TaxBy",
    "TaxRate",
    "Treatment",
    "Usage",
    "WayBack",
    "Work",
]
