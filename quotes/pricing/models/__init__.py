"""What it will cost, what the customer said, and what was paid."""

from quotes.pricing.models.customer import Link, Mailed, Message, Shared
from quotes.pricing.models.money import Instalment, Receipt
from quotes.pricing.models.quotes import Draft, IssuedLine, IssuedQuote, IssuedStep, Outcome, QuotePaper, Stage

__all__ = [
    "Draft",
    "Instalment",
    "IssuedLine",
    "IssuedQuote",
    "IssuedStep",
    "Link",
    "Mailed",
    "Message",
    "Outcome",
    "QuotePaper",
    "Receipt",
    "Shared",
    "Stage",
]
