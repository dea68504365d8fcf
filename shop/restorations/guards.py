from shop.guards import append_only

GUARDS = (
    append_only(
        "restorations_finishagreement", "What was agreed about a finish is kept as it was said. Note a new agreement."
    ),
    append_only("restorations_intakesignature", "What was signed at intake is kept as it was. Have it signed anew."),
    append_only("restorations_numberscleared", "A decision about numbers is kept as it was made. Note a new one."),
)
