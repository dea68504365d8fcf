from shop.guards import Guard, append_only

GUARDS: tuple[Guard, ...] = (
    append_only(
        "methods_standardtime",
        "A standard time is kept as noted: it cannot be changed or deleted. Note a new one from the day it changes.",
    ),
)
