from shop.guards import append_only, frozen_columns, refuse

NOT_AUTHORISED = (
    "NOT EXISTS (SELECT 1 FROM routes_authorisation JOIN routes_step ON routes_step.uid = routes_authorisation.step_uid"
    " WHERE routes_step.id = NEW.step_id)"
)

GUARDS = (
    append_only("routes_override", "An override is kept as it was decided. Note a new one."),
    refuse(
        "routes_taskstep",
        "authorised",
        on="INSERT",
        when=NOT_AUTHORISED,
        message="Only a step that is authorised can be worked on. Let the customer accept it first.",
    ),
    refuse(
        "routes_done",
        "authorised",
        on="INSERT",
        when=NOT_AUTHORISED,
        message="Only a step that is authorised can be done. Let the customer accept it first.",
    ),
    frozen_columns(
        "routes_done", ("uid", "step_id", "visit", "at", "who"), "What was done is kept. Take it back instead."
    ),
    refuse("routes_done", "kept", on="DELETE", when="1 = 1", message="What was done is kept. Take it back instead."),
)
