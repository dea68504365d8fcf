from shop.guards import append_only

GUARDS = (
    append_only(
        "restorations_finishagreement", "What was agreed about a finish is kept as it was said. Note a new agreement."
    ),
)
