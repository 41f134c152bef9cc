"""Which settings give the edge I want? As solved, and as a ruler can set them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from gougeform.present.answer import Answer, Block, Files, Labels, Next, WrittenFile, across
from gougeform.present.files import text
from gougeform.present.folder import called
from gougeform.recipe.model import Recipe
from gougeform.recipe.write import to_toml
from gougeform.settings.bench import bench_of
from gougeform.settings.further import further
from gougeform.settings.names import NAMES
from gougeform.settings.problem import Problem, Solved
from gougeform.settings.ruler import COLUMNS, Confirmed, Settled, machine, settle, straight_words
from gougeform.settings.wants import Span, Want, read_frees, read_wants
from gougeform.tool.rows import near_misses


def answer(
    recipe: Recipe,
    want: Mapping[str, float],
    free: Mapping[str, Span | None] | None = None,
    stops: Mapping[str, Sequence[float]] | None = None,
) -> Answer:
    """Solve for wants (deg, mm), round to a ruler, and measure both on the finished tool.

    want: {"nose": 35, "wing50": 47}. free and stops: as `gougeform.settings.wants.read_frees` takes them. Raises
    InputError where nothing within bounds gives an edge.
    """
    return told(settle(asked(recipe, want, free, stops)))


def asked(
    recipe: Recipe,
    want: Mapping[str, float],
    free: Mapping[str, Span | None] | None = None,
    stops: Mapping[str, Sequence[float]] | None = None,
) -> Problem:
    """The problem that those words pose, as in `answer`. Raises InputError."""
    wants = read_wants(want)
    return Problem(recipe, wants, read_frees(bench_of(recipe), free or {}, stops or {}, wants))


def told(settled: Settled) -> Answer:
    """What came of it."""
    problem, solved, pairs = settled.problem, settled.solved, settled.pairs
    recipe, wants = problem.recipe, problem.wants
    want = {one.name: one.value for one in wants}
    names = ["settings.toml", *(f"settings-{number}.toml" for number in range(2, len(pairs) + 1))]
    unmet = [str(one) for one in solved.unmet]
    if settled.stopped and not solved.exact:
        unmet.append(f"a shorter projection cannot be used: {settled.stopped}")
    blocks = [Block("What cannot be met", points=unmet)]
    for number, pair in enumerate(pairs, start=1):
        blocks += _blocks(wants, pair, "Settings" if len(pairs) == 1 else f"Settings, solution {number}")
    more = {} if solved.exact else further(problem, solved.solutions[0], "projection" if settled.stopped else "")
    following = [Next("settings", [called(recipe)], {"want": want, **more}, "to come nearer, look further")]
    why = "the tool with these settings (the ruler's)" if solved.exact else "the nearest tool"
    nothing_left = "Every setting of this jig is free already: another jig or wheel, or other wants."
    return Answer(
        blocks=blocks,
        verdict=_verdict(solved, pairs),
        notes=[*([nothing_left] if not (solved.exact or more) else []), *_near(pairs[0][1])],
        result={
            "exact": solved.exact,
            "family": solved.family,
            "wants": {f"{one.name}_{one.unit}": one.value for one in wants},
            "free": [one.name.name for one in problem.frees],
            "solutions": [{**found(exact, wants), "with_a_ruler": found(ruler, wants)} for exact, ruler in pairs],
            "cannot_be_met": unmet,
        },
        files=Files({n: text(to_toml(ruler.recipe)) for n, (_, ruler) in zip(names, pairs, strict=True)}),
        next=[*(following if more else []), Next("grind", [WrittenFile(names[0])], why=why)],
        recipe=pairs[0][1].recipe,
    )


def _near(one: Confirmed) -> list[str]:
    return [] if one.measures is None else near_misses(one.measures)


def _verdict(solved: Solved, pairs: Sequence[tuple[Confirmed, Confirmed]]) -> str:
    count, problem = len(pairs), pairs[0][1].problem or pairs[0][0].problem
    if problem:
        return f"NOT MET: the settings that would give it cannot be used. {problem}."
    if not solved.exact:
        return "NOT MET: no setting within the bounds gives all that is asked; this is the nearest (least squares)."
    if solved.family:
        return "More settings are free than are needed: this is the exact solution nearest to the recipe's settings."
    return "One exact solution." if count == 1 else f"{count} exact solutions, the nearest to the recipe first."


def found(one: Confirmed, wants: tuple[Want, ...]) -> dict[str, Any]:
    """Settings and the edge they give, with units in the names."""
    edge: dict[str, Any] = {}
    if one.reading is not None:
        wings = {f"wing{per_cent:g}_deg": value for per_cent, value in one.reading.wings.items()}
        edge = {"nose_deg": one.reading.nose, **wings, "wing_length_mm": one.reading.wing_length}
    return {
        "settings": {NAMES[name].column: value for name, value in one.values.items()},
        **machine(one.bench, one.setting),
        "edge": edge,
        "misses": one.misses(wants),
        "overcut_mm": one.overcut,
        "problem": one.problem,
    }


def _blocks(wants: tuple[Want, ...], pair: tuple[Confirmed, Confirmed], title: str) -> list[Block]:
    exact, ruler = pair
    jig, turned = exact.bench.jig, exact.values
    thick = jig.pivot_thick_mm
    pivot = f"{jig.pivot_noun} centre" if thick else jig.pivot_noun
    shown = [n for n in dict.fromkeys([*turned, *exact.bench.by_hand]) if n != "distance"]
    labels: Labels = {
        **{NAMES[n].column: n.replace("_", " ") + ("" if n in turned else ", as it was") for n in shown},
        "height_mm": f"{jig.pivot_noun} above wheel's centre, as it was",
        "centre_distance_mm": f"wheel's centre to {pivot}",
        "rim_distance_mm": f"rim to {pivot}",
        # To a pocket it is the same distance; to a rod one measures to its surface.
        **({"straight_distance_mm": straight_words(exact.bench)} if thick else {}),
        "level_distance_mm": "level, from below the wheel's centre",
        "contact_deg": "contact on the wheel, above the horizontal",
    }
    records: list[dict[str, float | None]] = [
        {NAMES[n].column: one.bench.value(n) for n in shown}
        | {"height_mm": one.bench.jig.level_mm}
        | machine(one.bench, one.setting)
        for one in (ruler, exact)
    ]
    asked = {f"{want.name}_{want.unit}": want.value for want in wants}
    edges: list[dict[str, float | None]] = [{**asked}, *(_edge(one, wants) for one in (ruler, exact))]
    of_edge: Labels = {
        **{f"{want.name}_{want.unit}": (want.words, 3) for want in wants},
        **({"land_mm": "land to leave"} if "land_mm" in asked else {}),
        **({} if "nose_deg" in asked else {"nose_deg": ("nose", 3)}),
        "overcut_mm": ("cut past the outline", 3),
    }
    stops = sorted(
        {
            f"Cannot be ground {words}: {one.problem}."
            for words, one in zip(("exactly", "by the ruler"), pair, strict=True)
            if one.problem
        }
    )
    return [
        across(title, records, labels, ("", *COLUMNS)),
        across("The edge it gives", edges, of_edge, ("", "asked", *COLUMNS)),
        Block("Stop", points=stops),
    ]


def _edge(one: Confirmed, wants: tuple[Want, ...]) -> dict[str, float | None]:
    read = one.reading
    land = dict.fromkeys(("land_mm",), next((want.value for want in wants if want.name == "land"), None))
    if read is None:
        return {"overcut_mm": one.overcut, **land}
    wings = {f"wing{per_cent:g}_deg": value for per_cent, value in read.wings.items()}
    return {"nose_deg": read.nose, **wings, "wing_length_mm": read.wing_length, "overcut_mm": one.overcut, **land}
