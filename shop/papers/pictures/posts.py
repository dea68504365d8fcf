"""Posts under a picture: each marks a place along it and carries a line of writing, which no other post runs through."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import permutations, product

from django.utils.safestring import SafeString

from shop.papers import drawings
from shop.papers.pictures import pencil
from shop.papers.pictures.lettering import LINE, SIZE, Room, fit, room_of, width_of

BESIDE = 6


@dataclass(frozen=True)
class Post:
    x: float
    words: str
    bold: bool = False
    dashes: str = "none"

    @property
    def width(self) -> float:
        return 2.5 if self.bold else 1.2


@dataclass(frozen=True)
class Placed:
    post: Post
    words: str
    x: float
    y: float
    anchor: str

    @property
    def room(self) -> Room:
        return room_of(self.words, self.x, self.y, anchor=self.anchor, bold=self.post.bold)

    def foot(self, top: float) -> Room:
        """What the post itself takes between the picture and its own line."""
        return Room(self.post.x - 2, top, self.post.x + 2, self.y)


def draw(posts: Sequence[Post], *, left: float, right: float, top: float) -> tuple[SafeString, float]:
    """The posts' feet and writing below ``top``, and how far down they reach. At most five posts."""
    placed = place(posts, left=left, right=right, top=top)
    drawn = [_drawn(one, top) for one in placed]
    return drawings.group(*drawn), top + LINE * len(posts) + 6


def place(posts: Sequence[Post], *, left: float, right: float, top: float) -> list[Placed]:
    """Every post on a line of its own, in the order and on the side that keep writing and posts apart."""
    ways = _ways(posts, left, right, top)
    return min(ways, key=lambda way: _crossings(way, top), default=[])


def _ways(posts: Sequence[Post], left: float, right: float, top: float) -> Iterator[list[Placed]]:
    for order in permutations(range(len(posts))):
        choices = [_sides(posts[post], top + LINE * (row + 1), left, right) for row, post in enumerate(order)]
        yield from map(list, product(*choices))


def _sides(post: Post, y: float, left: float, right: float) -> list[Placed]:
    words = fit(post.words, right - left, bold=post.bold)
    beside = [Placed(post, words, post.x + BESIDE, y, "start"), Placed(post, words, post.x - BESIDE, y, "end")]
    inside = [one for one in beside if left <= one.room.left and one.room.right <= right]
    width = width_of(words, bold=post.bold)
    return inside or [Placed(post, words, max(left, min(post.x + BESIDE, right - width)), y, "start")]


def _crossings(way: Sequence[Placed], top: float) -> int:
    return sum(one.room.meets(other.foot(top)) for one in way for other in way if one is not other)


def _drawn(one: Placed, top: float) -> SafeString:
    through = one.room.left < one.post.x < one.room.right
    bottom = one.room.top - 1 if through else one.y
    return drawings.group(
        pencil.straight(one.post.x, top, one.post.x, bottom, width=one.post.width, dashes=one.post.dashes),
        drawings.text(one.x, one.y, one.words, size=SIZE, anchor=one.anchor, bold=one.post.bold),
    )
