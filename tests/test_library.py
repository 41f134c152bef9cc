"""The profile library: every file in it can be used, and names are found where they should be."""

from __future__ import annotations

import math
import resource
import subprocess
import sys
import tomllib

import pytest

from gougeform.command import main
from gougeform.errors import InputError
from gougeform.machine.paths.steady import SteadyPath
from gougeform.read import library
from gougeform.recipe.reading import from_table, load
from gougeform.recipe.write import to_toml

CATALOGUE = library.catalogue()
WHOLE = {
    "bar": "round-10",
    "flute": "detail-round-10",
    "wheel": "wheel-200",
    "jig": {"from": "foot-65", "nose_angle_deg": 35},
    "grind": [{"from": "fingernail"}],
}


def entries(kind: str) -> list[str]:
    return [entry.name for entry in CATALOGUE[kind]]


def bar_of(flute: str) -> str:
    """The bar a flute is named for: its outline and size."""
    return "-".join(flute.split("-")[-2:])


def test_catalogue_is_whole():
    assert tuple(CATALOGUE) == library.KINDS
    for kind, least in zip(library.KINDS, (9, 24, 5, 6, 4, 1, 14, 2, 7, 4), strict=True):
        assert len(CATALOGUE[kind]) >= least, kind
    for kind, found in CATALOGUE.items():
        for entry in found:
            assert entry.problem is None
            assert (entry.kind, entry.own) == (kind, False)
            assert 5 < len(entry.title) <= 100, entry.path
            assert "\n" not in entry.title
            assert library.find(kind, entry.name) == entry.path
        assert [entry.name for entry in found] == list(library.names(kind))
    files = [path for path in library.built_in().rglob("*") if path.is_file()]
    assert [path.name for path in files if path.suffix != ".toml"] == ["README.md"]  # the guide
    assert len(files) - 1 == sum(len(found) for found in CATALOGUE.values())


@pytest.mark.parametrize("name", entries("bars"))
def test_bars(name):
    flute = "detail-round-6" if name == "flatted-10" else f"detail-{name}"
    bar = from_table(WHOLE | {"bar": name, "flute": flute}).bar
    size = float(name.split("-")[1])
    given = {"round": "diameter_mm", "square": "side_mm"}.get(bar.outline)
    assert given is None or getattr(bar, given) == size
    assert bar.steel.name == "hss"


@pytest.mark.parametrize("name", entries("flutes"))
def test_flutes_leave_the_bar_they_are_named_for(name):
    recipe = from_table(WHOLE | {"bar": bar_of(name), "flute": name})
    bar, flute = recipe.bar, recipe.flute
    half = (getattr(bar, "diameter_mm", None) or getattr(bar, "side_mm", None) or 10.0) / 2
    under = -min(y for _, y in bar.points_mm) if bar.outline == "points" else half

    def inside(x: float, y: float) -> bool:
        return max(abs(x), abs(y)) < half if bar.outline == "square" else math.hypot(x, y) < half

    floor = flute.web_mm - under if flute.web_mm is not None else min(y for _, y in flute.points_mm)
    if flute.shape == "points":
        curve = [point for point in flute.points_mm if point[0] >= 0]
    else:
        curve = [(x, floor + y) for x, y in half_curve(flute)]
    stays = [inside(x, y) for x, y in curve]
    assert stays[0]
    assert not all(stays)
    leaves = curve[stays.index(False)]
    assert leaves[1] > floor + 0.1 * half  # the lip stands clearly over the floor
    assert leaves[0] > 0.3 * half
    if name.startswith("detail"):
        assert flute.web_mm > half
    if name.startswith("deep"):
        assert flute.web_mm < 0.8 * half


def half_curve(flute):
    """Points of the right half of a flute over its floor, by formulas other than the simulator's."""
    if flute.shape == "parabola":
        return [(x, x * x / (2 * flute.floor_radius_mm)) for x in (i * 0.01 for i in range(2000))]
    if flute.shape in ("arc", "ellipse"):
        a = flute.radius_mm if flute.shape == "arc" else flute.half_width_mm
        b = a if flute.shape == "arc" else a * a / flute.floor_radius_mm
        angles = [i * math.pi / 2000 for i in range(1001)]
        return [(a * math.sin(t), b * (1 - math.cos(t))) for t in angles]
    slope = math.radians(90 - flute.flank_angle_deg)
    rho = flute.floor_radius_mm
    arc = [(rho * math.sin(t), rho * (1 - math.cos(t))) for t in (i * slope / 500 for i in range(501))]
    end = arc[-1]
    return arc + [(end[0] + s * math.cos(slope), end[1] + s * math.sin(slope)) for s in (i * 0.01 for i in range(2000))]


@pytest.mark.parametrize("name", entries("wheels"))
def test_wheels(name):
    wheel = from_table(WHOLE | {"wheel": name}).wheel
    assert wheel.speed_m_s is None or wheel.speed_m_s < wheel.rated_m_s
    assert 25 <= wheel.width_mm <= 50


@pytest.mark.parametrize("name", entries("jigs"))
def test_jigs_leave_the_distance_to_the_recipe(name):
    recipe = from_table(WHOLE | {"jig": name, "grind": [{"from": "fingernail"}]})
    assert recipe.jig.kind == name.split("-")[0]
    assert recipe.jig.projection_mm == float(name.split("-")[1])
    with pytest.raises(InputError, match=r"jig\.nose_angle_deg"):
        from_table(WHOLE | {"jig": name, "grind": [{"wing_length_mm": 10}]})


@pytest.mark.parametrize("name", entries("grinds"))
def test_grinds(name):
    first = [{"from": "fingernail"}] if name.startswith("relief") else []
    recipe = from_table(WHOLE | {"jig": "rod-65", "grind": [*first, name]})
    assert 20 <= recipe.grinds[-1].jig.nose_angle_deg <= 45


@pytest.mark.parametrize("name", entries("steels"))
def test_steels(name):
    steel = from_table(WHOLE | {"bar": {"from": "round-10", "steel": name}}).bar.steel
    assert steel.name == name
    assert 190 < steel.young_gpa < 240
    assert 7.7 < steel.density_g_cm3 < 8.5


@pytest.mark.parametrize("name", entries("recipes"))
def test_recipes(name, tmp_path):
    recipe = load(name)
    assert recipe.name == name
    assert recipe.title
    kind, jig = name.split("-")[-2:]
    assert recipe.jig.kind == jig
    assert len(recipe.grinds) == (2 if kind == "relief" else 1)
    assert isinstance(recipe.grinds[0].path, SteadyPath) == (kind == "plain" and jig != "foot")
    copy = tmp_path / "copy.toml"
    copy.write_text(to_toml(recipe), encoding="utf-8")
    assert load(copy) == recipe


def test_every_grind_on_every_bar_and_jig():
    names = entries("recipes")
    for tool in ("finial-round-10", "baluster-square-10"):
        for grind in ("plain", "fingernail", "relief"):
            for jig in ("foot", "rod"):
                assert f"{tool}-{grind}-{jig}" in names


# --- a person's own library ---------------------------------------------------------------------------------


@pytest.fixture
def own(tmp_path, monkeypatch):
    folder = tmp_path / "own"
    (folder / "bars").mkdir(parents=True)
    (folder / "recipes").mkdir()
    monkeypatch.setenv("GOUGEFORM_LIBRARY", str(folder))
    return folder


def test_own_library_comes_first(own):
    path = own / "bars" / "round-10.toml"
    path.write_text('title = "Mine"\noutline = "round"\ndiameter_mm = 9.8\nlength_mm = 120\n')
    (own / "bars" / "notes.txt").write_text("no profile")
    recipe = from_table(WHOLE)
    assert recipe.bar.diameter_mm == 9.8
    listed = {entry.name: entry for entry in library.catalogue()["bars"]}
    assert (listed["round-10"].title, listed["round-10"].own, listed["round-10"].path) == ("Mine", True, path)
    assert not listed["round-8"].own
    assert "notes" not in listed


def test_own_recipes_refer_to_both_libraries(own):
    (own / "bars" / "worn.toml").write_text('from = "round-10"\nlength_mm = 90\n')
    (own / "recipes" / "worn.toml").write_text(
        'bar = "worn"\nflute = "detail-round-10"\nwheel = "wheel-200"\njig = "foot-65"\ngrind = ["fingernail"]\n'
    )
    assert load("worn").bar.length_mm == 90


def test_a_broken_own_file_is_listed_with_its_problem(own):
    (own / "bars" / "broken.toml").write_text("outline = \n")
    (own / "bars" / "odd.toml").write_text('title = 5\noutline = "round"\n')
    listed = {entry.name: entry for entry in library.catalogue()["bars"]}
    assert "line 1, column 11" in str(listed["broken"].problem)
    assert listed["odd"].title == ""
    with pytest.raises(InputError, match=r"broken\.toml: bar: is not TOML: .* at line 1, column 11"):
        from_table(WHOLE | {"bar": "broken"})
    with pytest.raises(InputError, match=r"odd\.toml: title: given 5, allowed is a text"):
        from_table(WHOLE | {"bar": "odd"})


def test_an_own_file_may_not_build_on_itself(own):
    (own / "bars" / "round-10.toml").write_text('from = "round-10"\n')
    with pytest.raises(InputError, match="in a loop"):
        from_table(WHOLE)


def test_own_library_that_is_no_folder(tmp_path, monkeypatch):
    monkeypatch.setenv("GOUGEFORM_LIBRARY", str(tmp_path / "none"))
    with pytest.raises(InputError, match=r"GOUGEFORM_LIBRARY is .* not a folder\. Set it to a folder with bars"):
        library.catalogue()


def test_own_library_with_a_file_for_a_folder(own):
    (own / "jigs").write_text("")
    with pytest.raises(InputError, match="cannot be listed"):
        library.catalogue()


def test_names_never_leave_the_library(own):
    (own / "secret.toml").write_text("")
    for name in ("../secret", "..", ".", "", "bars/round-10", "round-10.toml"):
        assert library.find("bars", name) is None


def test_import_is_quick():
    command = [sys.executable, "-c", "import gougeform.recipe.reading, sys; print('numpy' in sys.modules)"]
    best = math.inf
    for _ in range(3):
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        loaded = subprocess.run(command, check=True, capture_output=True, text=True).stdout
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        best = min(best, after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime)
    assert loaded.strip() == "False"
    assert best < 0.6  # of processor time, start of Python included; the budget is 0.35 s on a quiet machine


@pytest.mark.parametrize(("word", "kind"), [("bar", "bars"), ("bars", "bars"), ("work", "work"), ("study", "studies")])
def test_profiles_lists_one_kind_by_either_word(word, kind, capsys):
    assert main(["profiles", word]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[0] == kind
    assert [line.split()[0] for line in lines[1:] if line] == entries(kind)


@pytest.mark.parametrize("kind", [kind for kind in library.KINDS if CATALOGUE[kind]])
def test_profiles_prints_a_file_that_can_be_copied(kind, capsys):
    entry = CATALOGUE[kind][0]
    assert main(["profiles", kind, entry.name]) == 0
    printed = capsys.readouterr().out
    assert tomllib.loads(printed) == tomllib.loads(entry.path.read_text(encoding="utf-8"))
    assert printed.startswith(f"# {entry.path}\n")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["bers"], 'KIND: given "bers". Did you mean bars? Allowed are bars, flutes,'),
        (["jigs", "foot-66"], 'NAME: given "foot-66". Did you mean foot-65'),
    ],
)
def test_profiles_refuses(words, said, capsys):
    assert main(["profiles", *words]) == 2
    assert said in capsys.readouterr().err
