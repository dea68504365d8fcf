"""A picture read back: where its writing, shapes and strokes are."""

import re
from dataclasses import dataclass
from xml.etree import ElementTree

from shop.papers.pictures.lettering import Room, room_of

NUMBER = re.compile(r"-?\d+(?:\.\d+)?")
Point = tuple[float, float]


@dataclass(frozen=True)
class Written:
    words: str
    x: float
    y: float
    room: Room
    bold: bool


class Seen:
    def __init__(self, svg: str) -> None:
        self.root = ElementTree.fromstring(svg)
        self.svg = svg
        self.width, self.height = map(float, self.root.attrib["viewBox"].split()[2:])

    def all(self, tag: str) -> list[ElementTree.Element]:
        """Without what a pattern is made of: that repeats wherever it fills."""
        inside = {id(child) for pattern in self.root.findall(".//{*}pattern") for child in pattern.iter()}
        return [one for one in self.root.iter() if one.tag.rpartition("}")[2] == tag and id(one) not in inside]

    @property
    def title(self) -> str:
        return self.all("title")[0].text or ""

    @property
    def words(self) -> str:
        return self.all("desc")[0].text or ""

    @property
    def written(self) -> list[Written]:
        return [_written(one) for one in self.all("text")]

    def find(self, words: str) -> Written:
        (found,) = [one for one in self.written if words in one.words]
        return found

    @property
    def paths(self) -> list[list[Point]]:
        return [points(one.attrib["d"]) for one in self.all("path")]

    @property
    def uprights(self) -> list[tuple[float, float, float]]:
        """Straight strokes up and down: x, top, bottom."""
        lines = [path for path in self.paths if len(path) == 2 and path[0][0] == path[1][0]]
        return [(one[0], *sorted((one[1], two[1]))) for one, two in lines]

    @property
    def boxes(self) -> list[dict[str, str]]:
        return [one.attrib for one in self.all("rect")]

    def rooms(self) -> list[tuple[str, Room]]:
        return [(one.words, one.room) for one in self.written]

    def outside(self) -> list[str]:
        """What reaches over the frame."""
        found = [f"point {x},{y}" for path in self.paths for x, y in path if not self._holds(x, y)]
        for box in self.boxes:
            x, y, wide, high = (float(box[name]) for name in ("x", "y", "width", "height"))
            if not (self._holds(x, y) and self._holds(x + wide, y + high)):
                found.append(f"box {box}")
        for one in self.all("circle"):
            x, y, radius = (float(one.attrib[name]) for name in ("cx", "cy", "r"))
            if not (self._holds(x - radius, y - radius) and self._holds(x + radius, y + radius)):
                found.append(f"dot {x},{y}")
        for one in self.all("polyline"):
            found += [f"point {x},{y}" for x, y in points(one.attrib["points"]) if not self._holds(x, y)]
        for words, room in self.rooms():
            if not (self._holds(room.left, room.top) and self._holds(room.right, room.bottom)):
                found.append(f"writing {words}")
        return found

    def overlaps(self) -> list[tuple[str, str]]:
        """Writing that lies on other writing."""
        rooms = self.rooms()
        return [
            (one, other)
            for place, (one, room) in enumerate(rooms)
            for other, other_room in rooms[place + 1 :]
            if room.meets(other_room)
        ]

    def struck(self) -> list[str]:
        """Writing that an upright stroke runs through."""
        return [
            words
            for words, room in self.rooms()
            for x, top, bottom in self.uprights
            if room.left < x < room.right and top < room.bottom and room.top < bottom
        ]

    def _holds(self, x: float, y: float) -> bool:
        return 0 <= x <= self.width and 0 <= y <= self.height


def points(way: str) -> list[Point]:
    numbers = [float(number) for number in NUMBER.findall(way)]
    return list(zip(numbers[::2], numbers[1::2], strict=True))


def area(shape: list[Point]) -> float:
    """By the shoelace formula (a textbook's)."""
    pairs = zip(shape, shape[1:] + shape[:1], strict=True)
    return abs(sum(x1 * y2 - x2 * y1 for (x1, y1), (x2, y2) in pairs)) / 2


def _written(element: ElementTree.Element) -> Written:
    get = element.attrib
    x, y, bold = float(get["x"]), float(get["y"]), get["font-weight"] == "600"
    room = room_of(element.text or "", x, y, anchor=get["text-anchor"], size=float(get["font-size"]), bold=bold)
    return Written(element.text or "", x, y, room, bold)
