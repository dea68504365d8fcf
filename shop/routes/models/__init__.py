"""What is to be done, what holds it back, when it is planned for, and what is done."""

from shop.routes.models.holding import Away, Funding, Hold, Override
from shop.routes.models.plans import Plan, PlannedStep
from shop.routes.models.steps import CHANCE, HANDLING, PRICE, QUANTITY, Authorisation, Source, Step, Wait
from shop.routes.models.work import Done, Remedy, Task, TaskStep

__all__ = [
    "CHANCE",
    "HANDLING",
    "PRICE",
    "QUANTITY",
    "Authorisation",
    "Away",
    "Done",
    "Funding",
    "Hold",
    "Override",
    "Plan",
    "PlannedStep",
    "Remedy",
    "Source",
    "Step",
    "Task",
    "TaskStep",
    "Wait",
]
