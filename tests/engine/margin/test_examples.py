"""The examples in the docstrings of the margin review are run here."""

import doctest
import importlib
import pkgutil
from types import ModuleType

import pytest

from quotes.engine import margin

MODULES = [
    importlib.import_module(f"quotes.engine.margin.{found.name}") for found in pkgutil.iter_modules(margin.__path__)
]


@pytest.mark.parametrize("module", MODULES, ids=lambda module: module.__name__.rsplit(".", 1)[1])
def test_every_module_has_examples_and_they_hold(module: ModuleType) -> None:
    tried = doctest.testmod(module)
    assert tried.failed == 0
    assert tried.attempted
