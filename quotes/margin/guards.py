"""Books that the database itself keeps: entries are never changed, and a week that was closed stays as it was."""

from quotes.margin.models.entries import AMOUNTS
from shop.guards import append_only, frozen_columns, refuse

KEPT = "A cost entry is never changed or deleted. Reverse it."
COLUMNS = (
    "source",
    "source_id",
    "revision",
    "position",
    "reverses_id",
    "restoration_id",
    "step_uid",
    "visit",
    "nature",
    "cause_id",
    "origin_uid",
    "grade_id",
    "rate_minor",
    "seconds",
    "consumable_id",
    "quantity",
    "whole",
    *AMOUNTS,
    "provisional",
    "on",
    "posted_at",
)

GUARDS = (
    frozen_columns("margin_costentry", COLUMNS, KEPT),
    refuse("margin_costentry", "kept", on="DELETE", when="1 = 1", message=KEPT),
    refuse(
        "margin_costentry",
        "closed_once",
        on="UPDATE",
        when={
            "sqlite": "OLD.close_id IS NOT NULL AND OLD.close_id IS NOT NEW.close_id",
            "postgresql": "OLD.close_id IS NOT NULL AND OLD.close_id IS DISTINCT FROM NEW.close_id",
        },
        message="What was taken into a week stays in it.",
    ),
    refuse(
        "margin_overhead",
        "closed_once",
        on="UPDATE",
        when={
            "sqlite": "OLD.close_id IS NOT NULL AND OLD.close_id IS NOT NEW.close_id",
            "postgresql": "OLD.close_id IS NOT NULL AND OLD.close_id IS DISTINCT FROM NEW.close_id",
        },
        message="What was taken into a week stays in it.",
    ),
    frozen_columns(
        "margin_overhead", ("words", "net_minor", "on", "reverses_id", "at", "recorded_by"), "Reverse it instead."
    ),
    refuse("margin_overhead", "kept", on="DELETE", when="1 = 1", message="Reverse it instead."),
    append_only("margin_close", "A week that was closed stays as it was."),
    append_only("margin_ledger", "A week that was closed stays as it was."),
    append_only("margin_reviewed", "A week that was closed stays as it was."),
    append_only("margin_pack", "The PDF of a closed week is kept as it was made."),
    append_only("margin_weeknote", "A note is kept as it was written. Write another one."),
    append_only("margin_budget", "A budget is what was accepted. It is never changed."),
    append_only("margin_budgetline", "A budget is what was accepted. It is never changed."),
)
