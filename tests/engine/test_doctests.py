"""The examples in the docstrings of the engine are run here."""

import doctest
import importlib
import pkgutil
from types import ModuleType

import pytest

from quotes import engine

MODULES = [importlib.import_module(found.name) for found in pkgutil.walk_packages(engine.__path__, "quotes.engine.")]


@pytest.mark.parametrize("module", MODULES, ids=lambda module: module.__name__.removeprefix("quotes.engine."))
def test_the_examples_in_the_docstrings_hold(module: ModuleType) -> None:
    assert doctest.testmod(module).failed == 0


def test_there_are_examples_to_run() -> None:
    assert sum(doctest.testmod(module).attempted for module in MODULES) >= 25
