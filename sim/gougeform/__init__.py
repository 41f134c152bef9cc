"""gougeform: the edge that a wheel and a jig leave on a turning gouge.

As a library:

    import gougeform
    tool = gougeform.measured("finial-round-10-fingernail-foot", {"jig.projection_mm": 70.0})
    print(tool.nose_angle, tool.wing_angles)
    table = gougeform.sweep("finial-round-10-fingernail-foot", {"jig.projection_mm": [60, 65, 70, 75, 80]})
    table.plot(x="jig.projection_mm", y="wing_angle_deg.50")

The names below are loaded when they are first used; `__init__.pyi` tells type checkers what they are.
"""

from __future__ import annotations

from typing import Any

__version__ = "0.1.0"

_FROM = {
    "InputError": "errors",
    "Recipe": "recipe.model",
    "changed": "recipe.change",
    "edge_frame": "study.front",
    "from_table": "recipe.reading",
    "load": "recipe.reading",
    "measure": "measure.measures",
    "measured": "study.front",
    "run_study": "study.front",
    "shape": "grind.gouge",
    "sweep": "study.front",
    "to_toml": "recipe.write",
}

__all__ = ["__version__", *_FROM]


def __getattr__(name: str) -> Any:
    if name not in _FROM:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from importlib import import_module

    value = getattr(import_module(f"{__name__}.{_FROM[name]}"), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted({*globals(), *_FROM})
