"""What was suggested, and what was said to it, stays as it was."""

from shop.guards import append_only

GUARDS = (
    append_only("learning_suggestion", "A suggestion is kept as it was made. Learn anew instead."),
    append_only("learning_decision", "What was said to a suggestion is kept. The next one can be answered anew."),
)
