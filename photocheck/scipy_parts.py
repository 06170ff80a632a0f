"""Compiled modules of SciPy, loaded without the packages around them.

Loading `scipy.special` and `scipy.optimize` takes longer than the whole check of a photo, most
of it for what no check uses.  The compiled modules in which the work is done load in a
millisecond.  Where they lie and what they hold is SciPy's own business and may change with any
version: who asks for one gets None when it is not there, and goes on with the public function,
which gives the same numbers later.
"""

from __future__ import annotations

from functools import cache
from importlib.machinery import PathFinder
from importlib.util import find_spec, module_from_spec
from pathlib import Path
from types import ModuleType


@cache
def compiled(package: str, name: str) -> ModuleType | None:
    """The compiled module `name` of ``scipy.<package>``, or None when it cannot be had alone."""
    scipy = find_spec("scipy")
    if scipy is None or not scipy.submodule_search_locations:
        return None
    folder = Path(scipy.submodule_search_locations[0]) / package
    spec = PathFinder.find_spec(name, [str(folder)])
    if spec is None or spec.loader is None:
        return None
    try:
        module = module_from_spec(spec)
        spec.loader.exec_module(module)
    except ImportError:  # it needs what its package would have loaded first
        return None
    return module
