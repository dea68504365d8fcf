"""Pictures for pages and papers, as somebody would sketch them on the back of a route card.

Plain values in, SVG out. Each module draws one picture and says the same in words. A picture is drawn for a width: what
is written in it keeps its size, and what is drawn is laid out anew.
"""

#: Widths to draw for, in the picture's units: as many pixels on a phone's page, and across a paper's column.
PHONE = 330
PAPER = 640
