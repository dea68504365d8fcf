"""Small pictures for pages and papers: SVG from presentation attributes only, so that a strict policy and the
PDF show the same. Lengths are in the picture's own units."""

import html
import math
import re
from decimal import Decimal

from django.utils.html import format_html
from django.utils.safestring import SafeString

Number = int | float | Decimal
Value = str | Number

INK = "currentColor"
EDGE = "#747d81"  # seen against black and against white
COLOUR = re.compile(r"#[0-9a-fA-F]{6}")
# A page hands its font down to a picture; the PDF renderer does not.
FACE = "Inter, system-ui, sans-serif"


def picture(*parts: SafeString, width: Number, height: Number, title: str, words: str = "") -> SafeString:
    """``title`` names the picture and ``words`` say what it shows; they are all that some readers get."""
    if not title.strip():
        raise ValueError("A picture needs a title.")
    size = f"{_number(width)} {_number(height)}"
    return format_html(
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {}" width="{}" height="{}" role="img" font-family="{}">'
        "<title>{}</title>{}{}</svg>",
        size,
        _number(width),
        _number(height),
        FACE,
        title,
        format_html("<desc>{}</desc>", words) if words else "",
        group(*parts),
    )


def group(*parts: SafeString) -> SafeString:
    """The parts one after the other, the last one on top."""
    return SafeString("".join(_safe(part) for part in parts))


def text(
    x: Number, y: Number, content: str, *, size: Number = 14, anchor: str = "start", fill: str = INK, bold: bool = False
) -> SafeString:
    weight = "600" if bold else "400"
    attributes = _attributes(x=x, y=y, font_size=size, text_anchor=anchor, fill=fill, font_weight=weight)
    return SafeString(f"<text{attributes}>{_safe(content)}</text>")


def line(
    x1: Number, y1: Number, x2: Number, y2: Number, *, stroke: str = INK, width: Number = 1, dashes: str = "none"
) -> SafeString:
    return _element("line", x1=x1, y1=y1, x2=x2, y2=y2, stroke=stroke, stroke_width=width, stroke_dasharray=dashes)


def box(
    x: Number,
    y: Number,
    width: Number,
    height: Number,
    *,
    fill: str = "none",
    stroke: str = INK,
    radius: Number = 0,
    faint: Number = 1,
) -> SafeString:
    return _element("rect", x=x, y=y, width=width, height=height, fill=fill, stroke=stroke, rx=radius, opacity=faint)


def dot(x: Number, y: Number, radius: Number, *, fill: str = INK, stroke: str = "none") -> SafeString:
    return _element("circle", cx=x, cy=y, r=radius, fill=fill, stroke=stroke)


def paint_chip(swatch: str, *, title: str) -> SafeString | str:
    """A card of one colour with the hole it hangs by; nothing where ``swatch`` is no colour (``#rrggbb``)."""
    if not COLOUR.fullmatch(swatch):
        return ""
    card = box(0.5, 0.5, 23, 15, fill=swatch, stroke=EDGE, radius=2)
    hole = dot(6, 8, 2.6, fill="#ffffff", stroke=EDGE)
    return picture(card, hole, width=24, height=16, title=title)


def curve(points: list[tuple[Number, Number]], *, stroke: str = INK, width: Number = 1.5) -> SafeString:
    """Straight pieces through ``points`` in order."""
    joined = " ".join(f"{_number(x)},{_number(y)}" for x, y in points)
    return _element("polyline", points=joined, fill="none", stroke=stroke, stroke_width=width)


def path(
    way: str, *, fill: str = "none", stroke: str = INK, width: Number = 1.5, dashes: str = "none", faint: Number = 1
) -> SafeString:
    """``way`` as ``move``, ``to`` and ``bend`` write it; ``faint`` is 1 for full ink, towards 0 for a breath of it."""
    return _element(
        "path",
        d=way,
        fill=fill,
        stroke=stroke,
        stroke_width=width,
        stroke_dasharray=dashes,
        stroke_linecap="round",
        stroke_linejoin="round",
        opacity=faint,
    )


def move(x: Number, y: Number) -> str:
    return f"M{_number(x)},{_number(y)}"


def to(x: Number, y: Number) -> str:
    return f"L{_number(x)},{_number(y)}"


def bend(over_x: Number, over_y: Number, x: Number, y: Number) -> str:
    """On to the second point, drawn towards the first."""
    return f"Q{_number(over_x)},{_number(over_y)} {_number(x)},{_number(y)}"


def hatching(name: str, *, gap: Number = 6, width: Number = 1, leaning: str = "right") -> SafeString:
    """Strokes to fill a shape with: ``fill=hatched(name)``. ``name`` must be alone on its page."""
    g = _number(gap)
    if leaning == "right":
        strokes = (
            f"M0,{g} L{g},0 M-1,1 L1,-1 M{_number(gap - 1)},{_number(gap + 1)} L{_number(gap + 1)},{_number(gap - 1)}"
        )
    else:
        strokes = (
            f"M0,0 L{g},{g} M-1,{_number(gap - 1)} L1,{_number(gap + 1)} M{_number(gap - 1)},-1 L{_number(gap + 1)},1"
        )
    stroke = _element("path", d=strokes, fill="none", stroke=INK, stroke_width=width)
    attributes = _attributes(id=name, width=gap, height=gap, patternUnits="userSpaceOnUse")
    return format_html("<defs><pattern{}>{}</pattern></defs>", attributes, stroke)


def hatched(name: str) -> str:
    return f"url(#{name})"


# By hand and not by `format_html`: a picture has hundreds of these, and took most of the time of the page it is on.


def _element(name: str, **attributes: Value) -> SafeString:
    return SafeString(f"<{name}{_attributes(**attributes)}/>")


def _attributes(**attributes: Value) -> SafeString:
    return SafeString("".join(f' {name.replace("_", "-")}="{_value(value)}"' for name, value in attributes.items()))


def _value(value: Value) -> str:
    return _safe(value) if isinstance(value, str) else _number(value)


def _safe(said: str) -> str:
    return said if isinstance(said, SafeString) else html.escape(said)


def _number(value: Number) -> str:
    if not math.isfinite(value):
        raise ValueError(f"{value} has no place in a picture.")
    shown = f"{value:.2f}".rstrip("0").rstrip(".") if value % 1 else f"{value:.0f}"
    return "0" if shown == "-0" else shown
