"""The card: true scale and embedded fonts read out of the PDF's own drawing operators, and its numbers re-ground."""

import re
import zlib

import numpy as np
import pytest

from gougeform.card.card import draw_card, write_card
from gougeform.card.content import content, steps, tolerance_line, wear_table
from gougeform.card.views import side_view
from gougeform.command import main
from gougeform.errors import InputError
from gougeform.grind.gouge import shape
from gougeform.measure.measures import measure
from gougeform.recipe.change import changed
from gougeform.recipe.reading import load
from gougeform.recipe.write import to_toml

POINT = 72 / 25.4  # points in a mm
NAME = "baluster-square-10-relief-foot"


@pytest.fixture(scope="module")
def tool():
    return measure(shape(load(NAME)))


@pytest.fixture(scope="module", params=["A5", "A4"])
def card(request, tool, tmp_path_factory):
    folder = tmp_path_factory.mktemp("card")
    return request.param, {path.suffix: path for path in write_card(tool, folder / "card", request.param)}


def polylines(pdf):
    """Every path that is moved to and lined to in the page's content, as (n, 2) points."""
    found = []
    for stream in re.findall(rb"stream\r?\n(.*?)endstream", pdf, re.S):
        try:
            text = zlib.decompress(stream)
        except zlib.error:
            continue
        if b" re" not in text and b" m\n" not in text:
            continue
        for part in re.findall(rb"(?:[-\d.]+ [-\d.]+ m\n)(?:[-\d.]+ [-\d.]+ l\n)+", text):
            found.append(np.array([[float(v) for v in line.split()[:2]] for line in part.splitlines()]))
    return found


def test_check_bar_is_50_mm_in_the_pdf(card):
    paths = [p for p in polylines(card[1][".pdf"].read_bytes()) if len(p) == 2 and np.ptp(p[:, 1]) < 1e-6]
    exact = [p for p in paths if abs(np.ptp(p[:, 0]) - 50 * POINT) < 0.01]  # 0.01 pt are 0.0035 mm
    assert len(exact) == 1


def test_outline_is_at_true_size_in_the_pdf(card, tool):
    edge = tool.edge
    wide, long = np.ptp(edge.point[0]) * POINT, np.ptp(edge.point[2]) * POINT
    same = [
        p for p in polylines(card[1][".pdf"].read_bytes())
        if len(p) > 20 and abs(np.ptp(p[:, 0]) - wide) < 0.03 and abs(np.ptp(p[:, 1]) - long) < 0.03
    ]  # fmt: skip
    assert len(same) == 1
    nose = same[0][same[0][:, 1].argmin()]
    assert nose[0] == pytest.approx(same[0][:, 0].mean(), abs=0.5 * POINT)  # nose down, in the middle


def test_page_fonts_and_no_raster(card):
    paper, files = card
    pdf = files[".pdf"].read_bytes()
    size = {"A5": (148, 210), "A4": (210, 297)}[paper]  # ISO 216
    box = [float(v) for v in re.search(rb"/MediaBox \[ ([\d. ]+) \]", pdf).group(1).split()]
    np.testing.assert_allclose(box[2:], np.array(size) * POINT, atol=0.05)
    assert pdf.count(b"/Type /Page ") + pdf.count(b"/Type /Page\n") == 1
    fonts = re.findall(rb"/FontDescriptor.{0,400}?>>", pdf, re.S)
    assert fonts
    assert pdf.count(b"/FontFile2") >= 2  # TrueType programs, plain and bold, inside the file
    assert b"/Subtype /Type3" not in pdf
    assert b"/Subtype /Image" not in pdf
    svg = files[".svg"].read_text()
    assert "<text" not in svg  # letters are outlines: no font is needed to show them
    assert "<image" not in svg
    width = float(re.search(r'width="([\d.]+)pt"', svg).group(1))
    assert width == pytest.approx(size[0] * POINT, abs=0.05)
    from PIL import Image

    with Image.open(files[".png"]) as picture:
        assert picture.size == pytest.approx(np.array(size) / 25.4 * 250, abs=1.5)


def test_nothing_depends_on_colour(card):
    for stream in re.findall(rb"stream\r?\n(.*?)endstream", card[1][".pdf"].read_bytes(), re.S):
        try:
            text = zlib.decompress(stream)
        except zlib.error:
            continue
        for colour in re.findall(rb"^([\d.]+) ([\d.]+) ([\d.]+) (?:rg|RG)$", text, re.M):
            assert len(set(colour)) == 1, colour


def test_side_view_holds_the_settings(tool):
    view = side_view(tool.gouge, tool.edge)
    first, second = tool.gouge.settings
    assert view.radius == pytest.approx(100.0)
    assert np.linalg.norm(view.nose) == pytest.approx(100.0, abs=1e-9)  # the nose touches the rim
    assert np.degrees(np.arctan2(*view.nose[::-1])) == pytest.approx(np.degrees(first.contact), abs=1e-6)
    (_, one), (_, two) = view.pivots
    assert np.linalg.norm(one) == pytest.approx(first.centre_distance, abs=1e-9)
    assert np.linalg.norm(two) == pytest.approx(second.centre_distance, abs=1e-9)
    assert one[1] == pytest.approx(-130.0)
    along = view.bar_axis[0] - view.bar_axis[1]
    along /= np.linalg.norm(along)
    assert (view.nose - view.clamp) @ along == pytest.approx(75.0, abs=1e-9)  # the projection
    # Arm of 90 mm from hinge to foot.
    assert np.linalg.norm(view.hinge - one) == pytest.approx(90.0, abs=1e-9)


def test_wear_table_is_what_grinding_on_worn_wheels_gives(tool):
    rows, _ = wear_table(tool.gouge)
    assert [row[0] for row in rows] == ["wheel Ø", "200", "190", "180", "170", "160", "150"]
    for row in (rows[1], rows[4], rows[6]):
        worn = changed(load(NAME), {"wheel.diameter_mm": float(row[0])})
        first, second = shape(worn).settings
        assert float(row[1]) == pytest.approx(first.rim_distance, abs=0.006)
        assert float(row[2]) == pytest.approx(second.rim_distance, abs=0.006)
    plain = load("finial-round-10-fingernail-rod")
    gouge = shape(plain)
    rows, _ = wear_table(gouge)
    stay = {
        "wheel.diameter_mm": 180.0,
        "grind.0.nose_angle_deg": None,
        "grind.0.centre_distance_mm": gouge.settings[0].centre_distance,
    }
    assert float(rows[3][2].rstrip("°")) == pytest.approx(measure(shape(changed(plain, stay))).nose_angle, abs=0.06)


def test_tolerances_move_the_nose_by_half_a_degree():
    recipe = load("finial-round-10-fingernail-foot")
    gouge = shape(recipe)
    line = tolerance_line(gouge)
    by = {
        name: float(re.search(rf"{name} ±([\d.]+)", line).group(1))
        for name in ("rim distance", "projection", "cant", "wheel Ø")
    }
    left = float(re.search(r"from the rim, ±([\d.]+) mm if the pocket is left", line).group(1))
    rim = gouge.settings[0].rim_distance
    given = {"grind.0.nose_angle_deg": None, "grind.0.rim_distance_mm": rim}
    for name, more in (
        ("rim distance", {"grind.0.rim_distance_mm": rim + by["rim distance"]}),
        ("projection", {"jig.projection_mm": 65.0 + by["projection"]}),
        ("cant", {"jig.arm_cant_deg": 40.0 + by["cant"]}),
        ("wheel Ø", {"wheel.diameter_mm": 200.0 + by["wheel Ø"]}),
        # The pocket left where it stands is the wear table's last column: the rim moves away from it.
        (
            "wheel left",
            {"wheel.diameter_mm": 200.0 - left, "grind.0.rim_distance_mm": rim + left / 2},
        ),
    ):
        angle = measure(shape(changed(recipe, given | more))).nose_angle
        assert abs(angle - 35.0) == pytest.approx(0.5, abs=0.08), name


def test_steps_in_the_order_a_person_sets_them(tool):
    said = [(step.what, step.value) for step in steps(tool)]
    assert said == [
        ("Wheel", "Ø 200 mm"),
        ("Clamp the bar, flute up", "75 mm"),
        ("Arm below the bar axis", "40°"),
        ("Rim to pocket", "116.79 mm"),
        ("Grind to the outline", "10.0 mm"),
        ("Relief: rim to pocket", "102.55 mm"),
        ("Relief: leave a land", "2.5 mm"),
    ]


@pytest.mark.parametrize("name", ["finial-round-10-plain-table", "baluster-square-10-relief-rod", "belt"])
def test_other_set_ups_have_a_card_with_cautions(name):
    recipe = changed(load("finial-round-10-fingernail-foot"), {"wheel": "belt-50"}) if name == "belt" else load(name)
    tool = measure(shape(recipe))
    page = draw_card(tool)
    words = " ".join(text.get_text() for text in page._axes.texts)
    assert "competent instructor" in words
    assert "50 mm" in words
    if name != "baluster-square-10-relief-rod":
        assert not content(tool).wear
        assert content(tool).wear_note.split(":")[0] in words
    # Nothing runs off the paper.
    page._figure.canvas.draw()
    for text in page._axes.texts:
        box = text.get_window_extent()
        assert box.x0 >= 0, text
        assert box.x1 <= page._figure.bbox.width, text
        assert box.y0 >= 0, text


def test_a_wheel_over_its_rating_is_said_in_bold():
    fast = changed(load("finial-round-10-fingernail-rod"), {"wheel.rpm": 6000.0, "wheel.rated_m_s": 35.0})
    page = draw_card(measure(shape(fast)))
    strong = [text for text in page._axes.texts if text.get_text().startswith("DO NOT GRIND")]
    assert len(strong) == 1
    assert strong[0].get_fontweight() == "bold"


def test_command_writes_three_files(tmp_path, capsys):
    assert main(["card", "finial-round-10-fingernail-rod", "--json", "-o", str(tmp_path)]) == 0
    import json

    out, told = capsys.readouterr()
    assert {path.rsplit(".")[-1] for path in json.loads(out)["files"]} == {"pdf", "svg", "png"}
    assert sorted(path.name for path in tmp_path.iterdir()) == ["card.pdf", "card.png", "card.svg"]
    assert "Before you grind" in told


@pytest.mark.parametrize("name", ["finial-round-10-relief-foot", "finial-round-10-relief-rod"])
def test_the_card_gives_what_a_ruler_can_set_and_the_edge_of_that(name, tmp_path, capsys):
    """Re-ground here from the card's own values: distances on half millimetres make the nose that the card tells."""
    import json

    assert main(["card", name, "--json", "-o", str(tmp_path)]) == 0
    said = json.loads(capsys.readouterr().out)
    recipe = load(name)
    rod = recipe.grinds[0].jig.pivot_thick_mm
    on, wanted = (
        [float(step["value"].removesuffix(" mm")) for step in said[key] if "im to" in step["what"]]
        for key in ("steps", "exact_steps")
    )
    assert len(on) == 2
    for value, exact, grind in zip(on, wanted, shape(recipe).settings, strict=True):
        assert (value / recipe.ruler_mm) % 1 == 0
        assert abs(value - exact) < recipe.ruler_mm
        assert exact == pytest.approx(grind.rim_distance - rod, abs=0.006)
    set_ = changed(recipe, {f"grind.{i}.rim_distance_mm": value + rod for i, value in enumerate(on)})
    helped = next(step["help"] for step in said["steps"] if "outline" in step["what"])
    assert f"{measure(shape(set_)).nose_angle:.1f}°" in helped
    assert f"exactly {wanted[0]:g} mm" in next(step["help"] for step in said["steps"] if "im to" in step["what"])


def test_a_card_says_so_where_no_hand_can_set_it(tmp_path, capsys, monkeypatch):
    """Few set-ups have no step of the ruler beside them that stands, so a refusal is put in the way."""

    def refused(*_):
        raise InputError("ruler", "neither step of the ruler beside it stands")

    monkeypatch.setattr("gougeform.card.byhand.by_hand", refused)
    assert main(["card", "finial-round-10-fingernail-foot", "-o", str(tmp_path / "out")]) == 0
    out, told = capsys.readouterr()
    assert "The exact values stand here" in " ".join((out + told).split())
    assert "106.82 mm" in out


def test_a_hand_sets_the_step_that_stands(tmp_path, capsys):
    """With 52 mm the clamp meets the wheel, which is nearer in edge; 53 mm stands."""
    short = tmp_path / "short.toml"
    text = to_toml(changed(load("finial-round-10-fingernail-foot"), {"jig.projection_mm": 52.9, "ruler_mm": 1.0}))
    short.write_text(text)
    assert main(["card", str(short), "-o", str(tmp_path / "out")]) == 0
    assert "53 mm" in capsys.readouterr().out
