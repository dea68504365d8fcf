from shop.guards import Guard, append_only

GUARDS: tuple[Guard, ...] = (
    append_only("journal_entry", "A journal entry is kept as written: it cannot be changed or deleted."),
    append_only("journal_link", "A link of the journal's chain is kept as written: it cannot be changed or deleted."),
)
