"""Nothing outside the kinds' own folders asks what kind a bar, flute, jig or path is: read from the source."""

from __future__ import annotations

import ast
from collections import Counter
from pathlib import Path

import gougeform
from gougeform.bar.flutes import FLUTES
from gougeform.bar.outlines import BARS as OUTLINES
from gougeform.machine.jigs import JIGS
from gougeform.machine.paths import PATHS

SOURCE = Path(gougeform.__file__).parent
FOLDERS = ("bar/outlines/", "bar/flutes/", "machine/jigs/", "machine/paths/")
KINDS = (OUTLINES, FLUTES, JIGS, PATHS)
NAMES = {name for kinds in KINDS for name in kinds.classes}
TAGS = {kinds.tag for kinds in KINDS}
CLASSES = {one.__name__ for kinds in KINDS for one in kinds.classes.values()}
RIGS = {"FootRig", "RodRig", "TableRig", "Traced", "Steady"}
"""What the kinds set up: to ask for one of these is to ask for the kind."""
OWN = {
    name
    for kinds in KINDS
    for name, owners in kinds.fields.items()
    if len(owners) < len(set(kinds.classes.values())) and name not in ("nose_angle_deg",)
}
"""Fields that not all kinds of their section have: getattr or hasattr with one is a branch in disguise."""

MEANT = {
    # "vee" is also a way to hold the bar, which is no kind; "square" and "flatted" are a bar in a first recipe.
    "machine/clamp.py": (1, "the table of clamps has a V"),
    "machine/jig.py": (4, "the V of a clamp: its opening belongs to it alone"),
    "recipe/references.py": (1, "the V of a clamp: another clamp drops its opening"),
    "settings/calibrate.py": (1, "the V of a clamp: another clamp drops its opening"),
    "workbench/knobs.py": (1, "the V of a clamp gets a slider for its opening"),
    "starter/ruler.py": (1, "a first recipe's bar is round, square, flatted or read point by point"),
    "starter/values.py": (5, "a first recipe's bar is round, square, flatted or read point by point"),
    "starter/text.py": (2, "what is said above a bar, and a flute, that are read point by point"),
    "study/plan.py": (1, "the points of a study"),
    "work/pieces.py": (1, "an arc of a workpiece, which is no flute"),
}
"""Where a kind's name still stands outside: by file, how often and why. It only ever gets fewer."""


def texts(node: ast.AST) -> set[str]:
    """The strings that a side of a comparison, or a key, is or lists."""
    parts = node.elts if isinstance(node, ast.Tuple | ast.List | ast.Set) else [node]
    return {part.value for part in parts if isinstance(part, ast.Constant) and isinstance(part.value, str)}


def named(node: ast.AST) -> set[str]:
    return {n.id for n in ast.walk(node) if isinstance(n, ast.Name)} | {
        n.attr for n in ast.walk(node) if isinstance(n, ast.Attribute)
    }


def asks(node: ast.AST) -> bool:
    """Whether a piece of source asks for a kind."""
    if isinstance(node, ast.Compare):
        sides = [node.left, *node.comparators]
        said = set().union(*(texts(side) for side in sides))
        tagged = any(isinstance(side, ast.Attribute) and side.attr in ("path", "outline") for side in sides)
        return bool(said & NAMES) or (tagged and bool(said))
    if isinstance(node, ast.Dict):
        return any(key is not None and texts(key) & NAMES for key in node.keys)
    if isinstance(node, ast.Subscript):
        held = node.slice
        return isinstance(held, ast.Attribute) and held.attr in TAGS and ast.unparse(held.value).endswith(SECTIONS)
    if isinstance(node, ast.MatchClass):
        return bool(named(node.cls) & (CLASSES | RIGS))
    if isinstance(node, ast.MatchValue):
        return bool(texts(node.value) & NAMES)
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and len(node.args) > 1:
        if node.func.id in ("isinstance", "issubclass"):
            return bool(named(node.args[1]) & (CLASSES | RIGS))
        return node.func.id in ("getattr", "hasattr") and bool(texts(node.args[1]) & OWN)
    return False


SECTIONS = ("bar", "flute", "jig", "path", "grind")


def found() -> dict[str, list[str]]:
    """By file, the lines that ask for a kind, or bring a kind's class in by name."""
    out: dict[str, list[str]] = {}
    for file in sorted(SOURCE.rglob("*.py")):
        name = file.relative_to(SOURCE).as_posix()
        if name.startswith(FOLDERS) or name in ("front.py", "__init__.py"):  # the front door names every class
            continue
        text = file.read_text(encoding="utf-8")
        lines = text.splitlines()
        for node in ast.walk(ast.parse(text)):
            brings = isinstance(node, ast.ImportFrom) and any(one.name in CLASSES for one in node.names)
            if asks(node) or brings:
                out.setdefault(name, []).append(f"{name}:{node.lineno}: {lines[node.lineno - 1].strip()}")
    return out


def test_no_branch_on_a_kind_outside_its_own_folder():
    lines = found()
    counted = Counter({name: len(those) for name, those in lines.items()})
    more = [line for name, those in lines.items() if counted[name] > MEANT.get(name, (0, ""))[0] for line in those]
    assert not more, "\n".join(more)
    fewer = {name: (counted[name], most) for name, (most, _) in MEANT.items() if counted[name] < most}
    assert not fewer, f"fewer than allowed: set the number in MEANT down {fewer}"


def test_a_branch_would_be_found():
    """The count is no test where it sees nothing: each way to ask, once."""
    for text in (
        'jig.kind == "table"',
        'path.path != "steady"',
        'kind in ("foot", "rod")',
        '{"foot": 1}[jig.kind]',
        "isinstance(jig, FootJig)",
        "isinstance(rig, RodRig | TableRig)",
        'getattr(jig, "arm_cant_deg", None)',
        'hasattr(jig, "shoe_mm")',
        "words[fields.jig.kind]",
        "match jig:\n    case TableJig():\n        pass",
    ):
        assert any(asks(node) for node in ast.walk(ast.parse(text))), text
    for text in ('wheel.kind == "belt"', "isinstance(value, str)", 'getattr(given, "out", None)', 'name == "nose"'):
        assert not any(asks(node) for node in ast.walk(ast.parse(text))), text
