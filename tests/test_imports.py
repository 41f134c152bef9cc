"""The order of the packages is a contract: each may import only what stands before it in one list.

It is read from the source (ast), so it holds for imports inside functions too; inside a package there is no circle.
"""

import ast
import graphlib
import resource
import subprocess
import sys
from pathlib import Path

import gougeform
from conftest import SLOW

SOURCE = Path(gougeform.__file__).parent

ORDER = [
    # errors, what a number and a table are, how processes are started, many at once, and reading
    *("", "errors", "quantity", "part", "children", "many", "read", "kinds"),
    # mathematics that knows no tool
    "numerics",
    # the bar, the machine, the recipe that holds them, and what the wheel leaves
    *("bar", "machine", "recipe", "grind"),
    # what is measured and meshed, and how stiff the bar is
    *("measure", "mesh", "stiffness"),
    # an answer and how it is told, and what is told of one tool
    *("present", "tool"),
    # questions asked of the tool
    *(
        "settings",
        "work",
        "reach",
        "compare",
        "gauges",
        "card",
        "choose",
        "starter",
        "take",
        "study",
        "show",
        "workbench",
    ),
    # what a person writes in Python, and what a person types
    *("front", "commands", "command"),
]
PACKAGES = {path.parent.name for path in SOURCE.glob("*/__init__.py")}

HEAVY = {
    "vtk",
    "vtkmodules",
    "pyvista",
    "matplotlib",
    "trimesh",
    "meshio",
    "manifold3d",
    "PIL",
    "rich",
    "svgelements",
    "ezdxf",
    "imageio",
}

MODULES = {
    ".".join(path.relative_to(SOURCE).with_suffix("").parts).removesuffix("__init__").rstrip("."): path
    for path in sorted(SOURCE.rglob("*.py"))
}


def entry(module):
    """The entry of the list that a module belongs to: itself, or its package."""
    first = module.split(".")[0]
    return first if first in PACKAGES else module


def ours(path, *, types=True):
    """(line, module) of every import of a gougeform module in a file, relative to the package.

    types: also those for the type checker alone.
    """
    tree = ast.parse(path.read_text(encoding="utf-8"))
    # The package itself names what it loads on demand, for the type checker alone.
    unseen = path == MODULES[""] or not types
    lazy = [n for n in tree.body if isinstance(n, ast.If) and "TYPE_CHECKING" in ast.unparse(n.test)] if unseen else []
    skipped = {id(node) for one in lazy for node in ast.walk(one)}
    for node in (node for node in ast.walk(tree) if id(node) not in skipped):
        found = []
        if isinstance(node, ast.Import):
            found = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}:{node.lineno}: write the whole name, gougeform.…"
            for alias in node.names:
                inner = f"{node.module}.{alias.name}".removeprefix("gougeform.")
                found.append(f"gougeform.{inner}" if inner in MODULES else str(node.module))
        for name in found:
            if name == "gougeform" or name.startswith("gougeform."):
                yield node.lineno, name.removeprefix("gougeform").lstrip(".")


def test_every_module_has_its_place_in_the_list():
    assert len(set(ORDER)) == len(ORDER)
    entries = {entry(module) for module in MODULES}
    assert entries - set(ORDER) == set(), "give it a place in ORDER, after all that it imports"
    assert set(ORDER) - entries == set(), "there is no such module any more"


def test_every_module_imports_only_what_stands_before_it():
    place = {name: number for number, name in enumerate(ORDER)}
    wrong = [
        f"{path}:{line}: {module} imports {other}"
        for module, path in MODULES.items()
        for line, other in ours(path)
        if entry(other) != entry(module) and place[entry(other)] > place[entry(module)]
    ]
    assert not wrong, "\n".join(wrong)


def test_no_circles_inside_a_package():
    """What runs goes round in no circle; a kind and what it is asked for may name each other's types."""
    graph = {
        module: {other for _, other in ours(path, types=False) if other != module} for module, path in MODULES.items()
    }
    # A package itself may be imported by its modules and import them: only circles between modules count.
    order = list(graphlib.TopologicalSorter(graph).static_order())
    assert set(order) == set(MODULES), "a module is imported that does not exist"


def at_top(tree):
    """Import statements that run when the module is loaded: not in functions, not for the type checker alone."""
    todo = list(tree.body)
    while todo:
        node = todo.pop()
        if isinstance(node, ast.If) and "TYPE_CHECKING" in ast.unparse(node.test):
            continue
        if isinstance(node, ast.Import | ast.ImportFrom):
            yield node
        elif not isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.Lambda):
            todo += list(ast.iter_child_nodes(node))


def test_heavy_libraries_load_when_used():
    wrong = [
        f"{path}:{node.lineno}: import {name} inside the function that needs it"
        for module, path in MODULES.items()
        for node in at_top(ast.parse(path.read_text(encoding="utf-8")))
        for name in ([a.name for a in node.names] if isinstance(node, ast.Import) else [str(node.module)])
        if name.split(".")[0] in HEAVY
    ]
    assert not wrong, "\n".join(wrong)


def test_importing_the_package_is_quick_and_loads_no_pictures():
    code = "import sys, gougeform; print(sorted(m for m in sys.modules if m.split('.')[0] in {0}))"
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    done = subprocess.run(
        [sys.executable, "-c", code.format(HEAVY | {"numpy", "scipy"})], capture_output=True, text=True, check=True
    )
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    assert done.stdout.strip() == "[]"
    assert after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime < 0.5


def test_the_whole_kernel_loads_without_pictures():
    core = [m for m in MODULES if ORDER.index(entry(m)) <= ORDER.index("mesh")]
    code = f"import sys, {', '.join(f'gougeform.{m}' for m in core if m)}; "
    code += f"print(sorted({{m.split('.')[0] for m in sys.modules}} & {HEAVY}))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_one_name_one_thing():
    """No two classes of the program have the same name, but for those of rooms whose rebuilding is told here."""
    found = {}
    for path in sorted(SOURCE.rglob("*.py")):
        for node in ast.parse(path.read_text(encoding="utf-8")).body:
            if isinstance(node, ast.ClassDef):
                found.setdefault(node.name, []).append(path.relative_to(SOURCE).as_posix())
    assert {name: places for name, places in found.items() if len(places) > 1} == {}


def test_the_quick_tests_look_into_every_room():
    """`pytest -m quick` leaves out whole files; what is left imports something of every package.

    But for the commands, which are lines, and for what starts processes, which takes its time.
    """
    seen = set()
    for path in Path(__file__).parent.rglob("test_*.py"):
        if path.stem.removeprefix("test_") in SLOW:
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            names = [node.module] if isinstance(node, ast.ImportFrom) and node.module else []
            names += [one.name for one in node.names] if isinstance(node, ast.Import) else []
            seen |= {name.split(".")[1] for name in names if name.startswith("gougeform.")}
    assert seen >= PACKAGES - {"commands", "many"}
