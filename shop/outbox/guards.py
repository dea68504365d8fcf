from shop.guards import Guard, frozen_columns, refuse

GUARDS: tuple[Guard, ...] = (
    frozen_columns(
        "outbox_row",
        ["uid", "key", "handler", "payload", "created_at"],
        "What a background job is to do is kept as written: ask for another one instead.",
    ),
    refuse(
        "outbox_row",
        "done_is_final",
        on="UPDATE",
        when="OLD.state = 'done' AND NEW.state <> 'done'",
        message="A background job that is done stays done.",
    ),
    refuse(
        "outbox_row",
        "owed_is_kept",
        on="DELETE",
        when="OLD.state <> 'done'",
        message="A background job that is not done cannot be deleted.",
    ),
)
