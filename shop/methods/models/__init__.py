"""How things are done: places, operations with their standard times, services, finishes with routes, bike templates."""

from shop.methods.models.checks import Cause, Check, RunCheck, Stage
from shop.methods.models.finishes import BACK_TO, FAIL_CHANCE, Finish, FinishRoute, FinishStep, MethodStep
from shop.methods.models.kinds import NOT_NEGATIVE, Condition, CostClass, Frequency, Material, Measure, Named, Strength
from shop.methods.models.templates import Template, TemplatePart, TemplateStep
from shop.methods.models.things import Consumable, PartKind, Place, SizeClass, Vendor, VendorClosure
from shop.methods.models.unknowns import COSTS, DamageStep, EvidenceSource, PossibleDamage
from shop.methods.models.work import ONE_WORK, ConditionFactor, Operation, Service, StandardTime, Usage, Work

__all__ = [
    "BACK_TO",
    "COSTS",
    "FAIL_CHANCE",
    "NOT_NEGATIVE",
    "ONE_WORK",
    "Cause",
    "Check",
    "Condition",
    "ConditionFactor",
    "Consumable",
    "CostClass",
    "DamageStep",
    "EvidenceSource",
    "Finish",
    "FinishRoute",
    "FinishStep",
    "Frequency",
    "Material",
    "Measure",
    "MethodStep",
    "Named",
    "Operation",
    "PartKind",
    "Place",
    "PossibleDamage",
    "RunCheck",
    "Service",
    "SizeClass",
    "Stage",
    "StandardTime",
    "Strength",
    "Template",
    "TemplatePart",
    "TemplateStep",
    "Usage",
    "Vendor",
    "VendorClosure",
    "Work",
]
