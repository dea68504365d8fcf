from collections.abc import Mapping, Sequence

from django import template

from shop.floor import tag_codes
from shop.floor.custody import Where
from shop.floor.models import Tag
from shop.restorations.models import Part

register = template.Library()

#: From here on a name is printed smaller on a tag [letters].
LONG = 34


@register.filter
def spaced(code: str) -> str:
    """The number of a tag as it is read aloud."""
    return tag_codes.spaced(code)


@register.filter
def of_part(found: Mapping[int, Sequence[Where]], part: Part) -> Sequence[Where]:
    """The tags of one part out of those of many."""
    return found.get(part.pk, ()) if found else ()


@register.filter
def long_name(tag: Tag) -> bool:
    """Whether what a tag is on has to be printed smaller."""
    return len(str(tag.what or tag.part)) > LONG
