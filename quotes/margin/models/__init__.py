from quotes.margin.models.budgets import Budget, BudgetLine
from quotes.margin.models.closes import Close, Ledger, Overhead, Pack, Reviewed, WeekNote
from quotes.margin.models.entries import AMOUNTS, CostEntry, Mark

__all__ = [
    "AMOUNTS",
    "Budget",
    "BudgetLine",
    "Close",
    "CostEntry",
    "Ledger",
    "Mark",
    "Overhead",
    "Pack",
    "Reviewed",
    "WeekNote",
]
