"""Facts of the floor that the database itself keeps: nobody is on two tasks at once, and what was noted stays."""

from shop.guards import append_only, frozen_columns, no_overlap, refuse

KEPT = "What was clocked is kept. Correct it instead."

GUARDS = (
    append_only("floor_correction", "A correction is kept as it was said."),
    append_only("floor_checked", "A check is kept as it came out. Check again."),
    append_only("floor_hoursleft", "What was said is kept. Say it anew."),
    append_only("floor_move", "Where a thing was is kept. Say where it is now."),
    append_only("floor_runtick", "A check is kept as it came out. Check again."),
    append_only("floor_handedover", "What was signed at hand-over is kept as it was signed."),
    frozen_columns(
        "floor_tap",
        ("uid", "kind", "person_id", "tablet_id", "task_id", "body", "body_sha256", "device_at", "received_at"),
        "A tap is kept as it came in.",
    ),
    refuse("floor_tap", "kept", on="DELETE", when="1 = 1", message="A tap is kept as it came in."),
    frozen_columns(
        "floor_clocking",
        ("uid", "person_id", "task_id", "began_at", "how", "tap_id", "correction_id", "recorded_by"),
        KEPT,
    ),
    refuse(
        "floor_clocking",
        "ends_once",
        on="UPDATE",
        when="OLD.ended_at IS NOT NULL AND (NEW.ended_at IS NULL OR NEW.ended_at <> OLD.ended_at)",
        message=KEPT,
    ),
    refuse(
        "floor_clocking",
        "superseded_once",
        on="UPDATE",
        when={
            "sqlite": "OLD.superseded_at IS NOT NULL AND OLD.superseded_at IS NOT NEW.superseded_at",
            "postgresql": "OLD.superseded_at IS NOT NULL AND OLD.superseded_at IS DISTINCT FROM NEW.superseded_at",
        },
        message=KEPT,
    ),
    no_overlap(
        "floor_clocking",
        "no_overlap",
        of="person_id",
        begins="began_at",
        ends="ended_at",
        live='"superseded_at" IS NULL',
        message="Nobody is on two tasks at once.",
    ),
    no_overlap(
        "floor_clocking",
        "one_at_a_time",
        of="task_id",
        begins="began_at",
        ends="ended_at",
        live='"superseded_at" IS NULL AND "alone"',
        message="This takes one person at a time.",
    ),
    refuse("floor_clocking", "kept", on="DELETE", when="1 = 1", message=KEPT),
)
