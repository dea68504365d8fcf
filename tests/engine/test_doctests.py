"""The examples in the docstrings of the engine are run here."""

import doctest
import importlib
import pkgutil
from types import ModuleType

import pytest

from quotes import engine

MODULES = [importlib.import_module(f"quotes.engine.{found.name}") for found in pkgutil.iter_modules(engine.__path__)]


@pytest.mark.parametrize("module", MODULES, ids=lambda module: module.__name__.rsplit(".", 1)[1])
def test_the_examples_in_the_docstrings_hold(module: ModuleType) -> None:
    assert doctest.testmod(module).failed == 0


def test_there_are_examples_to_run() -> None:
    assert sum(doctest.testmod(module).attempted for module in MODULES) >= 25
