from shop.floor.models.clocking import Clocking, Correction, Tap
from shop.floor.models.custody import Move, Shelf, Tag
from shop.floor.models.found import Checked, DamageReport, HoursLeft, Rework
from shop.floor.models.leaving import Comeback, HandedOver, Run, RunTick, Snag, WalkIn
from shop.floor.models.material import Count, Mix

__all__ = [
    "Checked",
    "Clocking",
    "Comeback",
    "Correction",
    "Count",
    "DamageReport",
    "HandedOver",
    "HoursLeft",
    "Mix",
    "Move",
    "Rework",
    "Run",
    "RunTick",
    "Shelf",
    "Snag",
    "Tag",
    "Tap",
    "WalkIn",
]
