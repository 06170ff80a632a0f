"""The figures that stand at the top of a module: what a test of what is shipped must name."""

from __future__ import annotations

import ast
import inspect
import pkgutil
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from datetime import timedelta
from importlib import import_module
from types import ModuleType
from typing import Any


def figures_of(module: ModuleType) -> dict[str, Any]:
    """Every name that a module gives a number to, or something with numbers in it."""
    own = {
        target.id
        for node in ast.parse(inspect.getsource(module)).body
        if isinstance(node, (ast.Assign, ast.AnnAssign))
        for target in (node.targets if isinstance(node, ast.Assign) else [node.target])
        if isinstance(target, ast.Name)
    }
    values = {name: getattr(module, name, None) for name in own}
    return {name: value for name, value in values.items() if _has_numbers(value)}


def figures_in(package: ModuleType) -> dict[str, dict[str, Any]]:
    """`figures_of` every module that lies in a package itself and has any."""
    every = {
        found.name: figures_of(import_module(f"{package.__name__}.{found.name}"))
        for found in pkgutil.iter_modules(package.__path__)
        if not found.ispkg
    }
    return {name: figures for name, figures in every.items() if figures}


def _has_numbers(value: Any) -> bool:
    if isinstance(value, (bool, str)):
        return False
    if isinstance(value, Mapping):
        return any(_has_numbers(each) for each in value.values())
    if is_dataclass(value) and not isinstance(value, type):
        return any(_has_numbers(getattr(value, each.name)) for each in fields(value))
    if isinstance(value, tuple):
        return any(_has_numbers(each) for each in value)
    return isinstance(value, (int, float, timedelta))
