from shop.guards import Guard, append_only

KEPT = "A rate is kept as noted: it cannot be changed or deleted. Note a new one from the day it changes."

GUARDS: tuple[Guard, ...] = tuple(
    append_only(f"rates_{table}", KEPT)
    for table in (
        "graderate",
        "consumableprice",
        "serviceprice",
        "servicebreak",
        "taxrate",
        "pricepolicy",
        "paymentstage",
        "odds",
    )
)
