"""No request makes the workbench meet a fault of its own: every endpoint, with good requests spoiled at any place."""

import copy
import json
import random

import pytest

from gougeform.recipe.reading import load
from gougeform.workbench.address import plain
from gougeform.workbench.state import start
from workbench import A, B, asked, ended, started

FAULT = b"ended by itself"
"""What is said of a job whose process died of an error that is not the asker's."""
SPOILT = [
    *(None, True, -1, 0, 1e308, 10**400, float("nan")),
    *("", "x", "a" * 5000, "../../etc/passwd", "\x00", "35°", "NaN"),
    *([], [[]], [1, "x"], {}, {"a": {"b": []}}, {"is": 1}),
]
EACH = 90
"""Requests for each endpoint."""
WHOLE = [
    "",
    "{",
    "null",
    "[]",
    '"x"',
    "3",
    "[" * 5000,
    '{"bench":' * 300,
    "\xff",
    "{}",
    '{"a":1e999}',
    '{"recipe":NaN}',
]


@pytest.fixture(scope="module")
def bench():
    process, port = started(A, B, "--port", "0")
    yield port
    code, _, err = ended(process)
    assert code == 0
    assert "Traceback" not in err


@pytest.fixture(scope="module")
def good():
    """A good request for each endpoint, as the page makes them."""
    begun, recipe = start(load(A), load(B)), load(A).table
    desk = plain(begun)
    stand = {"piece": 0, "share": 0.5, "edge": 0.0, "lam": 0.1, "alpha": 0.1}
    deeds = [
        {"do": "turn", "tool": "a", "changes": {"jig.projection_mm": 64.0}},
        {"do": "copy", "from": "a"},
        {"do": "recipe", "tool": "b", "name": A},
        {"do": "look", "changes": {"work": "coves"}},
    ]
    return {
        "do/begin": {"bench": desk},
        "do/turn": {"bench": desk, "do": deeds},
        "do/head": {"recipe": recipe, "lane": "a", "page": "p"},
        "do/late": {"recipe": recipe},
        "do/cross": {"recipe": recipe, "behind_mm": 5.0},
        "do/grinder": {"recipe": recipe},
        "do/work": {"work": "coves"},
        "do/stand": {"recipe": recipe, "work": "coves", "stand": list(stand.values())},
        "do/open": {"bench": desk, "tool": "a", "text": 'title = "x"'},
        "do/save": {"bench": desk, "kind": "recipe", "tool": "a"},
    }


def places(value, path=()):
    """Every place in nested dicts and lists."""
    yield path
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, inner in items:
        yield from places(inner, (*path, key))


def spoiled(value, chance):
    """The same with one or two of its places spoiled, taken away, or under another name."""
    out = {"w": copy.deepcopy(value)}
    for _ in range(chance.choice([1, 1, 2])):
        path = chance.choice(list(places(out)))
        if len(path) < 2:
            continue
        holder = out
        for key in path[:-1]:
            holder = holder[key]
        kind = chance.random()
        if kind < 0.15 and isinstance(holder, dict):
            del holder[path[-1]]
        elif kind < 0.25 and isinstance(holder, dict):
            holder["unheard of"] = holder.pop(path[-1])
        else:
            holder[path[-1]] = copy.deepcopy(chance.choice(SPOILT))
    return out["w"]


@pytest.mark.parametrize("path", ["begin", "turn", "head", "late", "cross", "grinder", "work", "stand", "open", "save"])
def test_nothing_that_is_sent_is_a_fault_of_the_workbench(bench, good, path):
    chance = random.Random(path)
    sent = [text.encode("latin-1") for text in WHOLE]
    sent += [json.dumps(spoiled(good[f"do/{path}"], chance)).encode() for _ in range(EACH)]
    for body in sent:
        status, data, _ = asked(bench, f"/do/{path}", body=body)
        assert status < 500, (body[:400], data[:300])
        if status == 400:
            assert json.loads(data)["error"]["problem"]


JOB_FIELDS = {
    "reach": ["work"], "solve": ["wants", "free"], "relief": ["land_mm", "move", "angle_deg"],
    "transfer": ["wheel", "jig"], "regrind": ["older"], "choose": ["works"], "picture": ["tool"],
    "files": ["kind", "tool", "gauge", "options"],
}  # fmt: skip


@pytest.mark.parametrize("name", JOB_FIELDS)
def test_no_job_ends_in_a_fault_of_the_workbench(bench, good, name):
    """What a job is asked with is spoiled, its recipe good; every fourth time the recipe is spoiled instead."""
    chance, recipe = random.Random(name), good["do/head"]["recipe"]
    sent = [text.encode("latin-1") for text in WHOLE]
    for k in range(8):
        body = {"recipe": spoiled(recipe, chance) if k % 4 == 3 else recipe}
        body |= {field: copy.deepcopy(chance.choice(SPOILT)) for field in JOB_FIELDS[name]}
        sent.append(json.dumps(body).encode())
    for body in sent:
        status, data, _ = asked(bench, f"/long/{name}", body=body)
        assert status < 500, (body[:400], data[:300])
        assert FAULT not in data, (body[-400:], data[:300])
