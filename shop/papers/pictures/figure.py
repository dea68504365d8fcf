"""A picture on a page, drawn for phones and for everything wider, with its words under it."""

from collections.abc import Callable

from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from shop.papers.pictures import PAPER, PHONE

# Draws with a name of its own, for a width.
Draw = Callable[[str, int], SafeString]


def on_page(draw: Draw, *, ident: str, words: str) -> SafeString:
    """Both drawings; ``pictures.css`` shows the one that the page has room for. ``ident`` is alone on its page."""
    return format_html(
        '<figure class="picture"><div class="picture-phone">{}</div><div class="picture-wide">{}</div>'
        '<figcaption><details class="small"><summary>{}</summary>{}</details></figcaption></figure>',
        draw(f"{ident}-phone", PHONE),
        draw(f"{ident}-wide", PAPER),
        _("In words"),
        words,
    )


def on_paper(draw: Draw, *, ident: str, words: str) -> SafeString:
    return format_html(
        '<figure class="picture">{}<figcaption>{}</figcaption></figure>', draw(f"{ident}-paper", PAPER), words
    )
