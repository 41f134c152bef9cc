"""Docstrings are true: what they name is there, what a caller must know is said, and no code is without a use."""

import ast
import re

from test_imports import MODULES, PACKAGES, SOURCE

_ENTRY = re.compile(r"(?:^|(?<=[.;] ))([a-z]\w*(?:(?:, | and )[a-z]\w*)*): ", re.MULTILINE)
_MODULE = re.compile(r"`gougeform\.([\w.]+)`")


def documented():
    for module, path in MODULES.items():
        tree = ast.parse(path.read_text(encoding="utf-8"))
        for node in ast.walk(tree):
            if isinstance(node, ast.FunctionDef | ast.ClassDef | ast.Module) and ast.get_docstring(node):
                yield module, node, ast.get_docstring(node)


def test_docstrings_name_parameters_and_fields_that_exist():
    wrong = []
    for module, node, text in documented():
        if isinstance(node, ast.FunctionDef):
            # Parameters, or names and keys of what it works out.
            known = {getattr(n, "arg", None) or getattr(n, "id", None) for n in ast.walk(node)}
            known |= {n.value for n in ast.walk(node) if isinstance(n, ast.Constant) and n.value != text}
        elif isinstance(node, ast.ClassDef):
            known = {n.target.id for n in node.body if isinstance(n, ast.AnnAssign) and isinstance(n.target, ast.Name)}
            known |= {n.name for n in node.body if isinstance(n, ast.FunctionDef)}
        else:
            continue
        for found in _ENTRY.finditer(text):
            names = re.split(r", | and ", found[1])
            # Only where it is a list of fields: at least one name is one, or the line starts with it.
            if any("_" in name or name in known for name in names) and not set(names) <= known:
                wrong.append(f"{module}.{node.name}: {sorted(set(names) - known)}")
    assert not wrong, "\n".join(wrong)


def test_docstrings_name_modules_that_exist():
    wrong = []
    for module, node, text in documented():
        for name in _MODULE.findall(text):
            parts = name.split(".")
            inside = ".".join(parts[:-1])
            if name in MODULES or name in PACKAGES:
                continue
            source = MODULES[inside].read_text(encoding="utf-8") if inside in MODULES else ""
            if not re.search(rf"^(?:def |class |)?{re.escape(parts[-1])}\b", source, re.MULTILINE):
                wrong.append(f"{module}.{getattr(node, 'name', '')}: `gougeform.{name}`")
    assert not wrong, "\n".join(wrong)


# ---- what a caller must know

_SHAPE = re.compile(r"\((?:\d|\w+\b|…)[^)]*\)")  # (n, 3), (stations,), (…, 2)
_ARRAY = re.compile(r"\b(?:Floats3?|Ints|Flags|NDArray|ndarray)\b")


def public():
    """(module, function, its docstring with its class's) of what other modules may call."""
    for module, path in MODULES.items():
        tree = ast.parse(path.read_text(encoding="utf-8"))
        homes = [(tree, "")] + [(n, ast.get_docstring(n) or "") for n in tree.body if isinstance(n, ast.ClassDef)]
        for home, said in homes:
            if getattr(home, "name", "").startswith("_"):
                continue
            for node in home.body:
                if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef) and not node.name.startswith("_"):
                    yield module, node, f"{ast.get_docstring(node) or ''} {said}"


def own(function):
    """The nodes of a function without those of functions inside it."""
    todo = list(function.body)
    while todo:
        node = todo.pop()
        yield node
        if not isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.Lambda):
            todo += list(ast.iter_child_nodes(node))


def test_docstrings_say_what_is_raised():
    wrong = []
    for module, node, text in public():
        if module.startswith("commands.") and node.name in ("run", "answer"):
            continue  # all of them may raise InputError; `command.main` waits for it
        raised = {
            ast.unparse(n.exc.func) for n in own(node) if isinstance(n, ast.Raise) and isinstance(n.exc, ast.Call)
        }
        raised = {name for name in raised if name[0].isupper()}  # not functions that make the error
        if not all(name in text for name in raised):
            wrong.append(f"{module}.{node.name}: {sorted(raised)}")
    assert not wrong, "\n".join(wrong)


def test_docstrings_give_the_shapes_of_arrays():
    wrong = []
    for module, node, text in public():
        words = f"{ast.unparse(node.args)} {ast.unparse(node.returns) if node.returns else ''}"
        text += ast.get_docstring(ast.parse(MODULES[module].read_text(encoding="utf-8"))) or ""
        if _ARRAY.search(words) and not _SHAPE.search(text):
            wrong.append(f"{module}.{node.name}")
    assert not wrong, "\n".join(wrong)


# ---- no dead code

_LISTED = (
    "gauges.kinds.",
    "bar.outlines.",
    "bar.flutes.",
    "machine.jigs.",
    "machine.paths.",
)  # folders that are listed
_USED_BY_NAME = {"__getattr__", "__dir__", "on_broken_pipe"}  # Python and rich ask for these


def names_in(path):
    """Every name that is read, called, imported or written in quotes in a file, with how often."""
    text = path.read_text(encoding="utf-8")
    return re.findall(r"\w+", text)


def test_every_function_and_class_is_used():
    counts = {}
    root = SOURCE.parents[1]
    told = [*SOURCE.rglob("*.py"), *SOURCE.rglob("*.js"), *(root / "notebooks").glob("*.ipynb")]
    told += [root / "README.md", root / "DEVELOPERS.md", root / "sim" / "MATHEMATICS.md"]
    for path in told:
        for name in names_in(path):
            counts[name] = counts.get(name, 0) + 1
    dead = []
    for module, path in MODULES.items():
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if not isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
                continue
            if isinstance(node, ast.ClassDef) and module.startswith(_LISTED):
                continue  # a kind, found in its file
            checks = any("validator" in ast.unparse(d) for d in node.decorator_list)
            if counts[node.name] < 2 and not checks and node.name not in _USED_BY_NAME and node.name != "__init__":
                dead.append(f"{module}.{node.name}")
    dead = [name for name in dead if not re.search(r"\.__\w+__$", name)]
    assert not dead, "\n".join(dead)
