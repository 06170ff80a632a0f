"""The examples in docstrings run, and those who call photocheck from Python find them."""

from __future__ import annotations

import doctest
import importlib
import inspect
import pkgutil
from types import ModuleType

import pytest

import photocheck

NEEDS_MORE = (
    "photocheck.benchmark",
    "photocheck.phantom",
    "photocheck_app",
    "photocheck.orders.store.migrations",
)
"""Rooms whose modules need more than photocheck itself, or a page, only to be imported."""


def modules() -> list[str]:
    found = pkgutil.walk_packages(photocheck.__path__, "photocheck.")
    return sorted(each.name for each in found if not each.name.startswith(NEEDS_MORE))


def with_examples() -> list[str]:
    named = []
    for name in modules():
        spec = importlib.util.find_spec(name)
        assert spec is not None
        assert spec.origin is not None
        with open(spec.origin, encoding="utf-8") as file:
            if ">>> " in file.read():
                named.append(name)
    return named


@pytest.mark.parametrize("name", with_examples())
def test_examples_run(name: str) -> None:
    module = importlib.import_module(name)
    failed, tried = doctest.testmod(module, optionflags=doctest.ELLIPSIS)
    assert tried > 0
    assert failed == 0


def functions(module: ModuleType) -> list[str]:
    return [
        name
        for name, thing in inspect.getmembers(module)
        if (inspect.isfunction(thing) or inspect.isclass(thing))
        and thing.__module__ == module.__name__
        and ">>> " in (inspect.getdoc(thing) or "")
    ]


def test_thirty_functions_show_how_they_are_called() -> None:
    shown = [
        f"{name}.{each}"
        for name in with_examples()
        for each in functions(importlib.import_module(name))
    ]
    assert len(shown) >= 30, shown
