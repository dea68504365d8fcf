"""Facts of vendor jobs that the database itself keeps: what was told, charged and sent stays as it was."""

from shop.guards import append_only, frozen_columns, refuse

GONE = "What went out is kept as it went. Note what changed beside it."

GUARDS = (
    append_only("vendor_jobs_promise", "What we were told is kept. Note the new day."),
    append_only("vendor_jobs_charge", "A charge is kept as it was entered. Reverse it instead."),
    refuse(
        "vendor_jobs_job",
        "sent_once",
        on="UPDATE",
        when="OLD.sent_on IS NOT NULL AND (NEW.sent_on IS NULL OR NEW.sent_on <> OLD.sent_on)",
        message=GONE,
    ),
    frozen_columns("vendor_jobs_line", ("uid", "step_id", "visit", "job_id", "split_from_id"), GONE),
    refuse("vendor_jobs_reminder", "kept", on="DELETE", when="1 = 1", message="A reminder is kept. Settle it instead."),
    frozen_columns(
        "vendor_jobs_reminder",
        ("uid", "key", "kind", "level", "about_on", "raised_at"),
        "A reminder is kept as it was raised.",
    ),
)
