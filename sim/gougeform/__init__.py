"""gougeform: the edge that a wheel and a jig leave on a turning gouge.

    import gougeform as gf
    tool = gf.load("finial-round-10-fingernail-foot").with_({"jig.projection_mm": 70.0})
    ground = tool.grind()
    print(ground.measures.nose_angle, ground["wing_angle_deg.50"])
    ground.mesh().export("gouge.3mf")
    table = gf.sweep(tool, {"jig.projection_mm": [60, 65, 70, 75, 80]})
    table.plot(x="jig.projection_mm", y="wing_angle_deg.50")

The names below are loaded when they are first used; `__init__.pyi` tells type checkers what they are. Every kind of
bar, flute, jig and path has its class here too, under its own name, without being listed.
"""

from __future__ import annotations

from typing import Any

__version__ = "0.1.0"

_FROM = {
    "Answer": "present.answer",
    "Grind": "recipe.resolving",
    "GroundTool": "front",
    "Handle": "bar.handle",
    "InputError": "errors",
    "Mesh": "front",
    "Recipe": "recipe.model",
    "Tool": "front",
    "Wheel": "machine.wheel",
    "changed": "recipe.change",
    "choose": "front",
    "compare": "front",
    "edge_frame": "study.front",
    "from_table": "recipe.reading",
    "load": "front",
    "measured": "front",
    "run_study": "study.front",
    "solution": "front",
    "sweep": "front",
    "to_toml": "recipe.write",
}
_KINDS = {"bar.outlines": "BARS", "bar.flutes": "FLUTES", "machine.jigs": "JIGS", "machine.paths": "PATHS"}

__all__ = ["__version__", *_FROM]


def __getattr__(name: str) -> Any:
    from importlib import import_module

    if name in _FROM:
        value = getattr(import_module(f"{__name__}.{_FROM[name]}"), name)
    elif name[:1].isupper():
        classes = (
            one for place, kinds in _KINDS.items() for one in
            getattr(import_module(f"{__name__}.{place}"), kinds).classes.values()
        )  # fmt: skip
        value = next((one for one in classes if one.__name__ == name), None)
    else:
        value = None
    if value is None:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted({*globals(), *_FROM})
