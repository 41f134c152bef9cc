"""A jig's hidden lengths from measured pairs."""

import numpy as np
import pytest

from gougeform.errors import InputError
from gougeform.grind.gouge import shape
from gougeform.measure.measures import measure
from gougeform.read.writing import toml_text
from gougeform.recipe.change import changed
from gougeform.recipe.reading import from_table, load
from gougeform.settings.bench import bench_of
from gougeform.settings.calibrate import calibrate, jig_table, predicted
from gougeform.settings.pairs import NosePair, read_pairs
from gougeform.settings.trial import Tracer

FOOT, ROD = "finial-round-10-fingernail-foot", "finial-round-10-fingernail-rod"
# projection, wheel, nose: how a person would spread a few pairs
SPREAD = [(65, 200, 35), (65, 150, 28), (75, 250, 45), (50, 200, 30), (90, 150, 48), (75, 200, 40)]


def pairs_of(recipe, truth, spread=SPREAD, reads=("nose",), rng=None):
    """Pairs that the true jig would give, as a person with the recipe's jig writes them down."""
    start, out = bench_of(recipe), []
    for line, (projection, wheel, nose) in enumerate(spread, start=2):
        made = start.set({**truth, "projection": projection, "wheel": wheel})
        made = made.set({"distance": made.nose_distance(nose)})
        angles = predicted(made, reads, Tracer())
        if rng is not None:
            angles = [angle + rng.normal(0, 0.5) for angle in angles]
        told = {"projection": projection, "wheel": wheel, "distance": made.value("distance")}
        out.append(NosePair(start.set(told), dict(zip(reads, angles, strict=True)), line))
    return out


@pytest.mark.parametrize(
    ("name", "truth"),
    [
        (FOOT, {"arm_length": 97.3, "cant": 43.1}),
        (FOOT, {"arm_length": 84.2}),
        (FOOT, {"hinge_back": 12.6, "hinge_drop": 10.4}),
        (FOOT, {"arm_length": 92.0, "hinge_drop": 4.0}),
        (ROD, {"hinge_back": 17.7, "shoe": 26.5}),
        (ROD, {"hinge_drop": 3.3}),
    ],
)
def test_exact_pairs_give_the_jig_back(name, truth):
    fit = calibrate(pairs_of(load(name), truth), list(truth))
    assert fit.value == pytest.approx(list(truth.values()), abs=1e-6)
    assert fit.blind == ()
    assert np.abs(fit.residual).max() < 1e-7


def test_exact_pairs_from_measured_tools():
    # The angles read off finished surfaces, not off the closed form that the fit uses.
    truth = changed(load(FOOT), {"jig.arm_length_mm": 95.5, "jig.arm_cant_deg": 42.0})
    start, out = bench_of(load(FOOT)), []
    for projection, nose in ((60, 32), (70, 38), (80, 42)):
        ground = changed(truth, {"jig.projection_mm": projection, "grind.0.nose_angle_deg": nose})
        read = measure(shape(ground)).nose_angle
        distance = bench_of(ground).value("distance")
        out.append(NosePair(start.set({"projection": projection, "distance": distance}), {"nose": read}, 2))
    fit = calibrate(out, ["arm_length", "cant"])
    assert fit.value == pytest.approx([95.5, 42.0], abs=1e-6)


@pytest.mark.parametrize("unknowns", [("arm_length", "cant"), ("hinge_back", "hinge_drop"), ("arm_length",)])
def test_noisy_pairs_lie_within_what_is_stated(unknowns):
    # 0.5° of noise; all unknowns within the stated half widths in at least 95 of 100 trials.
    recipe = load(FOOT)
    bench, rng = bench_of(recipe), np.random.default_rng(7)
    truth = {name: bench.value(name) + 3.0 for name in unknowns}
    inside = 0
    for _ in range(100):
        fit = calibrate(pairs_of(recipe, truth, rng=rng), unknowns)
        inside += bool((np.abs(fit.value - list(truth.values())) <= fit.sure).all())
    assert inside >= 95
    # And not by stating more than there is: the half width is three standard deviations or less, and those are right.
    assert np.all(fit.sure <= 3.1 * fit.sd)


def test_standard_deviations_are_those_of_many_trials():
    recipe = load(FOOT)
    rng, truth = np.random.default_rng(11), {"hinge_back": 18.0, "hinge_drop": 11.0}
    values = [calibrate(pairs_of(recipe, truth, rng=rng), list(truth)) for _ in range(80)]
    spread = np.std([fit.value for fit in values], axis=0)
    assert spread == pytest.approx(values[0].sd, rel=0.3)


def test_says_which_unknowns_cannot_be_told_apart_and_why():
    fit = calibrate(pairs_of(load(FOOT), {"arm_length": 95.0}), ["arm_length", "cant", "hinge_back"])
    assert fit.blind == (("arm_length", "cant", "hinge_back"),)
    assert np.isinf(fit.sure).all()
    assert "No further pair of edge angles tells these apart" in fit.advice
    assert "only the place of its foot counts" in fit.advice
    # The place of the foot is right all the same: the fitted jig makes the same noses.
    assert np.abs(fit.residual).max() < 1e-6


def test_says_which_further_pair_would_tell():
    recipe, truth = load(FOOT), {"arm_length": 95.0, "cant": 42.0}
    same = [(65, 200, 35)] * 3
    fit = calibrate(pairs_of(recipe, truth, same), list(truth))
    assert fit.blind == (("arm_length", "cant"),)
    assert "read the nose angle with" in fit.advice
    # Doing what it says makes them known.
    words = fit.advice.split()
    projection = float(words[words.index("projection") - 2])
    nose = float(words[-1].rstrip("°).").lstrip("("))
    wheel = float(words[words.index("wheel") - 2])
    better = calibrate(pairs_of(recipe, truth, [*same, (projection, wheel, nose)]), list(truth))
    assert better.blind == ()
    assert better.value == pytest.approx([95.0, 42.0], abs=1e-6)


def test_a_rod_jigs_cant_needs_a_wing_angle():
    recipe = load(ROD)
    truth = {"cant": bench_of(recipe).value("cant") + 2}
    blind = calibrate(pairs_of(recipe, truth), ["cant"])  # no nose angle hangs on the hinge's cant
    assert blind.blind == (("cant",),)
    assert "nose angle and the wing's angle at half its length" in blind.advice
    seen = calibrate(pairs_of(recipe, truth, SPREAD[:3], ("nose", "wing50")), ["cant"])
    assert seen.value == pytest.approx(list(truth.values()), abs=1e-6)


def test_clamp_is_told_by_bars_of_two_sections(table):
    # Held in a V or on a flat the axis of a thicker bar sits higher: one bar cannot tell, two can.
    recipe = changed(from_table(table("foot")), {"jig.clamp": "axis"})
    thick = changed(recipe, {"bar.diameter_mm": 12.7, "flute.web_mm": 8.0})
    out = []
    for tool in (recipe, thick):
        below = changed(tool, {"jig.clamp": "below", "jig.hinge_drop_mm": 3.0})
        for projection, nose in ((60, 30), (75, 40)):
            made = changed(below, {"jig.projection_mm": projection, "jig.nose_angle_deg": nose})
            told = bench_of(tool).set({"projection": projection, "distance": bench_of(made).value("distance")})
            out.append(NosePair(told, {"nose": nose}, 2))
    fit = calibrate(out, ["hinge_drop", "clamp"], 0.01)
    assert fit.clamp == "below"
    assert fit.value == pytest.approx([3.0], abs=1e-6)
    assert not any("cannot tell whether" in note for note in fit.notes)
    alone = calibrate(out[:2], ["hinge_drop", "clamp"], 0.01)
    assert any("cannot tell whether the bar is held" in note for note in alone.notes)
    assert alone.clamp == "axis"  # as the recipe has it


def test_scatter_beyond_the_stated_reading_widens_and_warns():
    recipe = load(FOOT)
    pairs = pairs_of(recipe, {"arm_length": 95.0})
    for k, pair in enumerate(pairs):
        pair.read["nose"] += 3.0 * (-1) ** k
    fit, calm = calibrate(pairs, ["arm_length"]), calibrate(pairs_of(recipe, {"arm_length": 95.0}), ["arm_length"])
    assert any("scatter by" in note for note in fit.notes)
    assert fit.sd[0] > 4 * calm.sd[0]
    assert calm.notes == ()


def test_the_jig_file_reads_back_in_a_recipe(tmp_path):
    recipe = load(FOOT)
    fit = calibrate(pairs_of(recipe, {"arm_length": 97.3}), ["arm_length"])
    path = tmp_path / "mine.toml"
    path.write_text(toml_text(jig_table(fit, "Mine")), encoding="utf-8")
    back = changed(recipe, {"jig": str(path)})
    assert back.jig.arm_length_mm == pytest.approx(97.3, abs=1e-6)
    assert back.grinds[0].jig.nose_angle_deg == 35.0  # the grind's own


GOOD = "projection_mm,rim_distance_mm,nose_deg\n65,106.815,35\n75,117.2,36\n"


def test_pairs_are_read_as_written(tmp_path):
    path = tmp_path / "pairs.csv"
    path.write_text(
        "Projection_mm,straight_distance_mm,nose_deg,wheel_diameter_mm,wing50_deg,recipe\n"
        "60,40,35,180,50.5,\n# a remark\n70,41,36,,,finial-round-10-plain-rod\n",
        encoding="utf-8",
    )
    one, two = read_pairs(str(path), load(ROD))
    assert one.read == {"nose": 35.0, "wing50": 50.5}
    assert (one.bench.value("projection"), one.bench.value("wheel")) == (60, 180)
    assert one.bench.value("distance") == 40 + 6  # the rod's radius
    assert two.read == {"nose": 36.0}
    assert two.bench.value("wheel") == 200
    assert two.bench.section is not one.bench.section


BAD = [
    ("", "has no pairs"),
    ("rim_distance_mm,nose_deg\n", "has no pairs"),
    ("rim_distance_mm,nose\n100,35\n", "did you mean nose_deg"),
    ("rim_distance_mm,centre_distance_mm,nose_deg\n1,2,3\n", "allowed is exactly one of"),
    ("projection_mm,nose_deg\n65,35\n", "no distance given"),
    ("rim_distance_mm,projection_mm\n100,35\n", "nose_deg is missing"),
    ("rim_distance_mm,nose_deg,nose_deg\n100,35,35\n", "stands there twice"),
    ("rim_distance_mm,nose_deg\n100\n", "line 2: has 1 cells, the first line has 2"),
    ("rim_distance_mm,nose_deg\nabc,35\n", 'line 2, rim_distance_mm: given "abc", allowed is a number'),
    ("rim_distance_mm,nose_deg\nnan,35\n", 'given "nan", allowed is a number'),
    ("rim_distance_mm,nose_deg\n100,\n", "is empty"),
    ("rim_distance_mm,nose_deg\n,35\n", "the distance is empty"),
    ("rim_distance_mm,nose_deg\n-5,35\n", "that lies inside the wheel"),
    ("rim_distance_mm,nose_deg\n100,200\n", "allowed is from 1 to 179 degrees"),
    ("rim_distance_mm,nose_deg,recipe\n100,35,nothing\n", "not in the library"),
]


@pytest.mark.parametrize(("text", "message"), BAD, ids=[message for _, message in BAD])
def test_bad_pairs(tmp_path, text, message):
    path = tmp_path / "pairs.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_pairs(str(path), load(FOOT))
    assert message.lower() in str(caught.value).lower()


def test_pairs_that_cannot_be_read(tmp_path):
    with pytest.raises(InputError, match="there is no such file"):
        read_pairs(str(tmp_path / "none.csv"), load(FOOT))
    (tmp_path / "x.csv").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(InputError, match="is not UTF-8"):
        read_pairs(str(tmp_path / "x.csv"), load(FOOT))


@pytest.mark.parametrize(
    ("name", "unknowns", "message"),
    [
        (FOOT, [], "nothing is to be fitted"),
        (FOOT, ["shoe"], "which a foot jig with a traced path on a wheel does not have"),
        (FOOT, ["projection"], "does not have"),
        (FOOT, ["cant", "cant"], "an unknown is named twice"),
        (FOOT, ["arm_length", "cant", "hinge_back"], "3 unknowns but only 2 readings"),
        ("finial-round-10-plain-table", ["cant"], "a table has no hidden lengths"),
    ],
)
def test_bad_unknowns(name, unknowns, message):
    bench = bench_of(load(name))
    pairs = [NosePair(bench, {"nose": 35.0}, 2), NosePair(bench, {"nose": 36.0}, 3)]
    with pytest.raises(InputError) as caught:
        calibrate(pairs, unknowns)
    assert message in str(caught.value)
