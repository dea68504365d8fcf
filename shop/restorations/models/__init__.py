"""What it is: customers, machines, restorations and their parts."""

from shop.restorations.models.damage import PartDamage
from shop.restorations.models.evidence import FinishAgreement, FinishCandidate, FinishEvidence, Looked
from shop.restorations.models.intake import Intake, IntakePhotograph, IntakeSignature, NumbersCleared
from shop.restorations.models.limits import AT_LEAST, AT_MOST, MANY, SIZE, STRENGTH, THICKNESS, between
from shop.restorations.models.what import Basis, Customer, Machine, Part, Restoration, Side

__all__ = [
    "AT_LEAST",
    "AT_MOST",
    "MANY",
    "SIZE",
    "STRENGTH",
    "THICKNESS",
    "Basis",
    "Customer",
    "FinishAgreement",
    "FinishCandidate",
    "FinishEvidence",
    "Intake",
    "IntakePhotograph",
    "IntakeSignature",
    "Looked",
    "Machine",
    "NumbersCleared",
    "Part",
    "PartDamage",
    "Restoration",
    "Side",
    "between",
]
