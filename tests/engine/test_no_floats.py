"""Money never meets a float: not in the engine, and not in the code that its costs are checked by."""

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

from quotes import engine
from tests.bench import plain_sum

HOME = Path(engine.__path__[0])
#: Chances and what is learned are worked out in floats; what is money when it leaves those rooms is a decimal or a whole number.
FILES = [path for path in sorted(HOME.rglob("*.py")) if path.parent.name not in {"chance", "learning"}]
#: What turns decimals into floats, or brings floats in.
FLOATING = {"float", "complex", "fsum"}


def floats(source: str) -> Iterator[str]:
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Constant) and isinstance(node.value, float | complex):
            yield f"line {node.lineno}: {node.value}"
        if isinstance(node, ast.Name) and node.id in FLOATING:
            yield f"line {node.lineno}: {node.id}"
        if isinstance(node, ast.Attribute) and node.attr in FLOATING | {"from_float"}:
            yield f"line {node.lineno}: {node.attr}"
        if isinstance(node, ast.Import | ast.ImportFrom):
            names = {alias.name for alias in node.names} | {getattr(node, "module", "")}
            brought = names & {"math", "statistics", "random", "numpy"}
            if brought and not names <= {"math", "lcm"}:
                yield f"line {node.lineno}: {', '.join(sorted(brought))}"


@pytest.mark.parametrize("path", FILES, ids=lambda path: str(path.relative_to(HOME)))
def test_no_float_stands_in_the_engine(path: Path) -> None:
    assert list(floats(path.read_text(encoding="utf-8"))) == []


def test_no_float_literal_stands_in_the_plain_sum() -> None:
    found = list(floats(Path(plain_sum.__file__).read_text(encoding="utf-8")))
    assert [line for line in found if "math" not in line] == []


@pytest.mark.control
@pytest.mark.parametrize(
    "line",
    ["x = 1.5", "x = float('2')", "from math import sqrt", "import statistics", "x = Decimal.from_float(y)", "x = 1e3"],
)
def test_a_float_would_be_seen(line: str) -> None:
    assert list(floats(line))


def test_the_engine_has_files_to_look_at() -> None:
    assert len(FILES) >= 20
