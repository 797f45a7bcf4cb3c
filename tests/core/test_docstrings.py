"""The examples in the docstrings of the core run, and every public name has one."""

import doctest
import importlib
import inspect
import pkgutil
from collections.abc import Iterator
from types import ModuleType

import pytest

from analytics import core

MODULES = [
    importlib.import_module(f"analytics.core.{found.name}")
    for found in pkgutil.iter_modules(core.__path__)
]


def public_functions(module: ModuleType) -> Iterator[tuple[str, object]]:
    for name, member in vars(module).items():
        own = getattr(member, "__module__", None) == module.__name__
        if own and inspect.isfunction(member) and not name.startswith("_"):
            yield name, member


@pytest.mark.parametrize("module", MODULES, ids=lambda module: module.__name__.split(".")[-1])
class TestDocstrings:
    def test_examples_run_as_printed(self, module: ModuleType):
        outcome = doctest.testmod(module)

        assert outcome.failed == 0

    def test_every_public_function_has_an_example(self, module: ModuleType):
        without = [
            name
            for name, member in public_functions(module)
            if ">>>" not in (inspect.getdoc(member) or "")
        ]

        assert without == []
