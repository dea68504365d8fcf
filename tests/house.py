"""The order of the rooms, read from where import-linter reads it, and what points from one room to another."""

import ast
import re
import tomllib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from django.apps import apps
from django.template.backends.django import get_installed_libraries
from django.urls import URLPattern, URLResolver, get_resolver

ROOT = Path(__file__).resolve().parents[1]
TEMPLATES = ROOT / "templates"
# Templates of no room: the frame may point anywhere; allauth's pages are served by people.
FRAME, COMPONENTS, ACCOUNT = "the frame", "the components", "account"
URL_CALLS = {"reverse", "reverse_lazy", "redirect", "resolve_url"}
RELATIONS = {"ForeignKey", "OneToOneField", "ManyToManyField"}


@dataclass(frozen=True)
class Pointer:
    """Something in ``room`` that names something in the room ``to``; ``to`` is empty when there is no such thing."""

    where: str
    room: str
    what: str
    to: str


@cache
def levels() -> dict[str, int]:
    """Each room's height above the ground; rooms of one floor have the same."""
    with (ROOT / "pyproject.toml").open("rb") as file:
        contracts = tomllib.load(file)["tool"]["importlinter"]["contracts"]
    (layers,) = (contract["layers"] for contract in contracts if contract["type"] == "layers")
    return {room.strip(): height for height, layer in enumerate(reversed(layers)) for room in re.split(r"[|:]", layer)}


def room_of(module: str) -> str:
    return next((room for room in levels() if module == room or module.startswith(f"{room}.")), "")


def room_of_label(label: str) -> str:
    return room_of(apps.get_app_config(label).name) if label in apps.app_configs else ""


def room_of_template(name: str) -> str:
    folder, _, rest = name.partition("/")
    if not rest:
        return FRAME
    if folder == ACCOUNT:
        return "shop.people"
    if folder == "components":
        return _room_of_component(TEMPLATES / name)
    return room_of_label(folder) or FRAME


def _room_of_component(path: Path) -> str:
    """A component that loads a room's tags is for that room and those above it."""
    text = path.read_text(encoding="utf-8") if path.exists() else ""
    return next(loaded_rooms(text), ("", COMPONENTS))[1]


def loaded_rooms(text: str) -> Iterator[tuple[str, str]]:
    libraries = get_installed_libraries()
    for loaded in re.findall(r"{%\s*load\s+([^%]+?)\s*%}", text):
        for library in loaded.split(" from ")[-1].split():
            if room := room_of(libraries.get(library, "")):
                yield library, room


def goes_up(pointer: Pointer) -> bool:
    """Whether it names what is above it, beside it, or nowhere. The frame may point anywhere, components nowhere."""
    heights = levels()
    if pointer.room == FRAME:
        return not pointer.to
    if pointer.room == pointer.to or pointer.to in {COMPONENTS, FRAME}:
        return False
    if pointer.room == COMPONENTS or pointer.to not in heights:
        return True
    return heights[pointer.to] >= heights[pointer.room]


# -- models ----------------------------------------------------------------------------------------------------------


def model_pointers() -> Iterator[Pointer]:
    for model in apps.get_models(include_auto_created=True):
        room = room_of_label(model._meta.app_label)
        for field in model._meta.get_fields() if room else ():
            other = field.related_model
            if field.auto_created or not isinstance(other, type) or not room_of_label(other._meta.app_label):
                continue
            yield Pointer(model._meta.label, room, field.name, room_of_label(other._meta.app_label))


# -- addresses -------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Page:
    name: str
    route: str
    room: str


def pages() -> list[Page]:
    return list(_pages(get_resolver().url_patterns, namespace="", route="", room=""))


def _pages(patterns: Iterable[URLPattern | URLResolver], *, namespace: str, route: str, room: str) -> Iterator[Page]:
    for pattern in patterns:
        path = route + str(pattern.pattern)
        if isinstance(pattern, URLPattern):
            yield Page(namespace + (pattern.name or ""), path, room)
            continue
        inner = f"{namespace}{pattern.namespace}:" if pattern.namespace else namespace
        urlconf = getattr(pattern.urlconf_module, "__name__", "")
        yield from _pages(pattern.url_patterns, namespace=inner, route=path, room=room_of(urlconf) or room)


def rooms_of_addresses() -> dict[str, str]:
    return {page.name: page.room for page in pages()}


# -- templates -------------------------------------------------------------------------------------------------------


def template_pointers() -> Iterator[Pointer]:
    for path in sorted(TEMPLATES.rglob("*.html")):
        yield from pointers_of_template(path.relative_to(TEMPLATES).as_posix(), path.read_text(encoding="utf-8"))


def pointers_of_template(name: str, text: str) -> Iterator[Pointer]:
    room, addresses = room_of_template(name), rooms_of_addresses()
    for address in re.findall(r"{%\s*url\s+['\"]([^'\"]+)['\"]", text):
        yield Pointer(name, room, f"url {address}", addresses.get(address, ""))
    for other in re.findall(r"{%\s*(?:include|extends)\s+['\"]([^'\"]+)['\"]", text):
        yield Pointer(name, room, other, room_of_template(other) if (TEMPLATES / other).exists() else "")
    for library, other in loaded_rooms(text):
        yield Pointer(name, room, f"load {library}", other)


# -- sources ---------------------------------------------------------------------------------------------------------


def source_pointers() -> Iterator[Pointer]:
    for folder in ("shop", "quotes"):
        for path in sorted((ROOT / folder).rglob("*.py")):
            module = ".".join(path.relative_to(ROOT).with_suffix("").parts)
            if room_of(module):
                yield from pointers_of_source(module, path.read_text(encoding="utf-8"))


def pointers_of_source(module: str, source: str) -> Iterator[Pointer]:
    room, addresses = room_of(module), rooms_of_addresses()
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and re.fullmatch(r"[\w/]+\.html", node.value):
            yield Pointer(module, room, node.value, room_of_template(node.value))
        if not isinstance(node, ast.Call) or not (text := _first_text(node)):
            continue
        called = getattr(node.func, "attr", getattr(node.func, "id", ""))
        if called in URL_CALLS and re.fullmatch(r"[\w:-]+", text):
            yield Pointer(module, room, f"{called} {text}", addresses.get(text, ""))
        elif called == "get_model" or (called in RELATIONS and text != "self" and "." in text):
            label = text.split(".")[0]
            if room_of_label(label) or label not in apps.app_configs:  # Django's own models are below every room
                yield Pointer(module, room, f"{called} {text}", room_of_label(label))


def _first_text(call: ast.Call) -> str:
    named = [keyword.value for keyword in call.keywords if keyword.arg in {"to", "app_label", "viewname"}]
    for value in [*call.args[:1], *named]:
        if isinstance(value, ast.Constant) and isinstance(value.value, str):
            return value.value
    return ""
