"""Issued quotes and their outcomes are kept as they went out."""

from shop.guards import append_only

GUARDS = (
    append_only("pricing_issuedquote", "An issued quote is never changed or deleted. Issue a new version."),
    append_only("pricing_issuedline", "The lines of an issued quote are never changed or deleted."),
    append_only("pricing_issuedstep", "The scope of an issued quote is never changed or deleted."),
    append_only("pricing_outcome", "The outcome of a quote is recorded once."),
    append_only("pricing_quotepaper", "The PDF of an issued quote is kept as it went out."),
    append_only("pricing_receipt", "A receipt is never changed or deleted. Reverse it, and note it anew."),
    append_only("pricing_message", "What was said to or by a customer is kept as it was said."),
    append_only("pricing_mailed", "What was sent to a customer is kept as it was sent."),
)
