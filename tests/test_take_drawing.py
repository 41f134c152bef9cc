"""Drawings: ours read back, other libraries' read, ours read by them, bad files refused in one sentence."""

import json

import numpy as np
import pytest
from shapely import points
from shapely.geometry import LineString

from gougeform.bar.section import build_section
from gougeform.command import main
from gougeform.errors import InputError
from gougeform.grind.gouge import shape
from gougeform.measure.edge import measure_edge
from gougeform.recipe.change import changed
from gougeform.recipe.reading import load
from gougeform.recipe.write import to_toml
from gougeform.take.drawing import read_drawing
from gougeform.take.export import dxf_text, edge_sheet, section_sheet, svg_text, template_sheet
from gougeform.take.section import off_flute, take_section, with_section

LIKE = "finial-round-10-fingernail-foot"
LIBRARY = [LIKE, "baluster-square-10-fingernail-foot", "baluster-deep-round-12.7-fingernail-foot"]
FORMATS = pytest.mark.parametrize(("ending", "text"), [("svg", svg_text), ("dxf", dxf_text)])


@pytest.fixture(scope="module", params=LIBRARY)
def gouge(request):
    return shape(load(request.param))


@pytest.fixture(autouse=True)
def in_a_folder_of_its_own(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)


def write(path, text):
    path.write_text(text, encoding="utf-8")
    return path


def taken(path, scale=None):
    return take_section(*read_drawing(path, scale).told_apart())


# ---- ours, read back


@FORMATS
def test_our_section_comes_back_as_the_same_tables(gouge, tmp_path, ending, text):
    found = taken(write(tmp_path / f"section.{ending}", text(section_sheet(gouge.section, "a"))))
    recipe = gouge.recipe
    for mine, theirs in ((found.bar, recipe.bar.plain()), (found.flute, recipe.flute.plain())):
        for name, value in mine.items():
            want = theirs[name]
            assert value == (pytest.approx(want, abs=2e-6) if isinstance(value, float) else want), name
            if isinstance(value, float):
                part = "bar" if theirs is recipe.bar.plain() or name in recipe.bar.plain() else "flute"
                assert found.numbers[f"{part}.{name}"].covers(want)
    made = with_section(load(LIKE), found, "section.svg")
    assert made.bar == recipe.bar.model_copy(update={"length_mm": 150.0})
    assert max(np.abs(off).max() for off in found.off(gouge.section)) < 2e-6


@FORMATS
def test_edge_and_templates_are_true_to_size(gouge, tmp_path, ending, text):
    edge = measure_edge(gouge)
    (line,) = read_drawing(write(tmp_path / f"edge.{ending}", text(edge_sheet(edge, "a")))).chains
    # SVG counts from a corner of its page.
    moved = line.points - line.points.min(0) + [edge.point[0].min(), edge.point[2].min()]
    off = LineString(moved).distance(points(edge.point[[0, 2]].T[::20]))
    assert off.max() < 1.1e-4  # what is read is made into chords
    plates = read_drawing(write(tmp_path / f"t.{ending}", text(template_sheet(gouge, edge, "a")))).chains
    assert [plate.closed for plate in plates] == [True] * 3
    # The notch takes the nose: both its sides stand at the measured angle.
    side = [p.points[-1] - p.points[0] for p in plates[2].pieces if len(p.points) == 2]
    long = [s for s in side if np.hypot(*s) == pytest.approx(15.0, abs=1e-6)]
    turn = abs(long[0] @ long[1]) / 15**2
    assert np.degrees(np.arccos(turn)) == pytest.approx(edge.wedge[edge.nose], abs=1e-4)


def test_a_section_drawn_as_one_closed_line(gouge, tmp_path):
    """The steel's own ring: its flute is found in it."""
    ring = gouge.section.ring(700)
    text = "\n".join(f"{x:.6f},{y:.6f}" for x, y in [*ring, ring[0]])
    found = taken(write(tmp_path / "ring.csv", text))
    assert found.flute["shape"] == gouge.recipe.flute.shape
    assert found.bar["outline"] == gouge.recipe.bar.outline
    assert found.flute["web_mm"] == pytest.approx(gouge.recipe.flute.web_mm, abs=2e-3)


# ---- other libraries' read


def test_svg_written_by_svgpathtools(tmp_path):
    from svgpathtools import Arc, CubicBezier, Line, Path, wsvg

    ring = Path(*(Arc(complex(x, 0), complex(5, 5), 0, 0, 1, complex(-x, 0)) for x in (5, -5)))
    flute = Path(
        Line(complex(-4, -6), complex(-3, -3)),
        CubicBezier(complex(-3, -3), complex(-1, 1), complex(1, 1), complex(3, -3)),
        Line(complex(3, -3), complex(4, -6)),
    )
    path = tmp_path / "other.svg"
    size = {"width": "20mm", "height": "20mm", "viewBox": "-10 -10 20 20"}
    wsvg([ring, flute], "kk", filename=str(path), stroke_widths=[0.1, 0.1], svg_attributes=size)
    found = read_drawing(path).chains
    assert [line.closed for line in found] == [True, False]
    assert [piece.form for piece in found[0].pieces] == ["circular"] * 2
    centre = found[0].points.mean(0)
    assert np.hypot(*(found[0].points - [10, -10]).T) == pytest.approx(5.0, abs=1e-6), centre
    assert [piece.form for piece in found[1].pieces] == ["line", "curve", "line"]
    # Bézier's own formula at the middle: y = (-3 + 3 + 3 - 3) / 8, in SVG's sense downward; its viewBox begins at -10.
    middle = found[1].pieces[1].points
    assert middle[len(middle) // 2] == pytest.approx([10.0, -10.0], abs=1e-6)


def test_svg_written_by_svgwrite(tmp_path):
    """Circle and path in a group that is moved and scaled: inches at the top, units of a tenth of a mm within."""
    import svgwrite

    drawing = svgwrite.Drawing(str(tmp_path / "w.svg"), size=("2in", "2in"), viewBox="0 0 508 508")
    group = drawing.g(transform="translate(254 254) scale(2)", fill="none", stroke="black")
    group.add(drawing.circle((0, 0), 30))
    # An arc flute of 2 cm: centre 4 units over the axis, in SVG's sense below zero.
    group.add(drawing.path("M-20,-24 A20,20 0 0 0 20,-24"))
    drawing.add(group)
    drawing.save()
    found = taken(tmp_path / "w.svg")
    # A unit is 50.8 / 508 = 0.1 mm, twice that in the group: radius 6, flute radius 4, floor at -(24 - 20) * 0.2 under…
    assert found.bar == {"outline": "round", "diameter_mm": pytest.approx(12.0, abs=1e-6)}
    assert found.flute["radius_mm"] == pytest.approx(4.0, abs=1e-6)
    assert found.flute["web_mm"] == pytest.approx(6.0 + 0.8, abs=1e-5)


def test_svg_written_by_a_plotting_library(tmp_path):
    from matplotlib.figure import Figure
    from matplotlib.patches import Circle

    figure = Figure(figsize=(40 / 25.4, 40 / 25.4))
    axes = figure.add_axes((0, 0, 1, 1))
    axes.set_axis_off()
    axes.set(xlim=(-20, 20), ylim=(-20, 20))
    axes.add_patch(Circle((0, 0), 6, fill=False))
    figure.savefig(tmp_path / "plot.svg")
    page, ring = sorted((c for c in read_drawing(tmp_path / "plot.svg").chains if c.closed), key=lambda c: -c.area)[:2]
    assert page.area == pytest.approx(40 * 40, rel=1e-4)
    assert np.ptp(ring.points, axis=0) == pytest.approx([12, 12], abs=1e-3)  # it writes a circle as eight cubics


def test_dxf_written_by_trimesh(tmp_path):
    """Lines and arcs; it writes no unit that the standard knows, so the scale is asked for."""
    import trimesh
    from trimesh.path.entities import Arc, Line

    v = np.array([[-5.0, 0], [0, -5], [5, 0], [0, 5], [-3, 5], [0, 1], [3, 5]])
    path = trimesh.path.Path2D([Arc([0, 1, 2]), Arc([2, 3, 0]), Line([4, 5, 6])], v, process=False)
    path.units = "mm"
    path.export(str(tmp_path / "o.dxf"))
    ring, flute = sorted(read_drawing(tmp_path / "o.dxf", 1.0).chains, key=lambda line: not line.closed)
    assert ring.closed
    assert np.hypot(*ring.points.T) == pytest.approx(np.full(len(ring.points), 5.0), abs=1e-6)
    assert {piece.form for piece in ring.pieces} == {"circular"}
    assert flute.points == pytest.approx(v[4:])


@pytest.mark.parametrize("behind", [False, True])
def test_dxf_written_by_ezdxf(tmp_path, behind):
    """A polyline with bulges in a block, in inches, drawn from in front or from behind; a spline; what is no line."""
    import ezdxf

    document = ezdxf.new("R2010", units=ezdxf.units.IN)
    block = document.blocks.new("bar")
    # A circle of half an inch as two half circles: a bulge is the tangent of a quarter of the angle.
    way = {"extrusion": (0, 0, -1)} if behind else {}
    block.add_lwpolyline([(-0.25, 0, 1), (0.25, 0, 1)], format="xyb", close=True, dxfattribs=way)
    space = document.modelspace()
    space.add_blockref("bar", (1, 1))
    x = np.linspace(-0.2, 0.2, 9)
    parabola = [(1 + a, 1.02 + 2.5 * a * a) for a in x]  # floor radius 1 / 5 inch
    space.add_open_spline([parabola[0], (1.0, 1.02 - 2.5 * 0.04), parabola[-1]], degree=2)  # a Bézier curve: exact
    space.add_text("detail gouge")
    document.saveas(tmp_path / "e.dxf")
    found = taken(tmp_path / "e.dxf")
    assert found.bar == {"outline": "round", "diameter_mm": pytest.approx(12.7, abs=1e-6)}
    assert found.flute["shape"] == "parabola"
    assert found.flute["floor_radius_mm"] == pytest.approx(25.4 / 5, abs=1e-5)
    assert found.flute["web_mm"] == pytest.approx(25.4 * 0.27, abs=1e-5)


# ---- ours, read by them


def test_ours_read_by_svgpathtools(gouge, tmp_path):
    from svgpathtools import svg2paths

    path = write(tmp_path / "s.svg", svg_text(section_sheet(gouge.section, "a")))
    found = dict(zip(("outline", "flute"), svg2paths(str(path))[0], strict=True))
    ring, line = (np.array([[p.real, -p.imag] for p in map(found[k].point, np.linspace(0, 1, 200))]) for k in found)
    assert np.abs(gouge.section.outline.nearest(ring)[0]).max() < 1e-6
    assert np.abs(off_flute(gouge.section, line)).max() < 1e-6
    assert line[[0, -1]] == pytest.approx(np.array([gouge.section.lip(-1), gouge.section.lip(1)]), abs=1e-6)


def test_ours_read_by_trimesh(gouge, tmp_path):
    import trimesh

    path = write(tmp_path / "s.dxf", dxf_text(section_sheet(gouge.section, "a")))
    with path.open(encoding="utf-8") as file:
        found = trimesh.load_path(file, file_type="dxf")
    lines = [e for e in found.entities if type(e).__name__ != "BSpline"]
    ring = np.vstack([found.vertices[e.points] for e in lines])[:, :2]
    assert np.abs(gouge.section.outline.nearest(ring)[0]).max() < 1e-6
    (spline,) = (e for e in found.entities if type(e).__name__ == "BSpline")
    line = spline.discrete(found.vertices, count=200)[:, :2]
    assert np.abs(off_flute(gouge.section, line)).max() < 1e-6


def test_ours_read_by_ezdxf(gouge, tmp_path):
    import ezdxf

    document = ezdxf.readfile(write(tmp_path / "s.dxf", dxf_text(section_sheet(gouge.section, "a"))))
    assert document.units == ezdxf.units.MM
    assert not document.audit().has_errors
    (spline,) = document.modelspace().query("SPLINE")
    line = np.array([(p.x, p.y) for p in spline.construction_tool().approximate(300)])
    assert np.abs(off_flute(gouge.section, line)).max() < 1e-6
    arcs = document.modelspace().query("ARC")
    ends = np.array([(p.x, p.y) for arc in arcs for p in (arc.start_point, arc.end_point)])
    assert len(arcs) == 4
    assert np.abs(gouge.section.outline.nearest(ends)[0]).max() < 1e-6


# ---- points


def test_csv_points(tmp_path):
    angle = np.linspace(0, 2 * np.pi, 60)
    ring = "\n".join(f"{5 * np.cos(a):.6f},{5 * np.sin(a):.6f}" for a in angle)
    x = np.linspace(-3.9, 3.9, 25)
    flute = "\n".join(f"{v:.6f},{5.5 - np.sqrt(16 - v * v):.6f}" for v in x)
    found = taken(write(tmp_path / "p.csv", f"x_mm,y_mm\n{ring}\n\n{flute}\n"))
    assert found.bar == {"outline": "round", "diameter_mm": pytest.approx(10, abs=1e-5)}
    assert found.flute["shape"] == "arc"
    assert found.flute["radius_mm"] == pytest.approx(4, abs=1e-5)
    assert found.flute["web_mm"] == pytest.approx(6.5, abs=1e-5)
    # The same with semicolons and decimal commas, and in inches.
    there = f"{ring}\n\n{flute}\n".replace(",", ";").replace(".", ",")
    assert taken(write(tmp_path / "q.csv", there)).bar == found.bar
    small = "\n".join(
        ",".join(f"{float(v) / 25.4:.9f}" for v in row.split(",")) if row else ""
        for row in f"{ring}\n\n{flute}".split("\n")
    )
    assert taken(write(tmp_path / "i.csv", small), 25.4).bar == {
        "outline": "round",
        "diameter_mm": pytest.approx(10, abs=1e-5),
    }


def test_an_outline_without_a_formula_stays_smooth_or_keeps_its_corners(tmp_path):
    angle = np.linspace(0, 2 * np.pi, 400)
    for name, ring in (
        ("oval", np.column_stack([5 * np.cos(angle), 6.5 * np.sin(angle)])),
        ("roof", np.array([[-5, -5], [5, -5], [5, 4], [0, 6.5], [-5, 4], [-5, -5.0]])),
    ):
        x = np.linspace(-4.8, 4.8, 60)
        flute = np.column_stack([x, x * x / 6])
        text = "\n\n".join("\n".join(f"{a:.6f},{b:.6f}" for a, b in part) for part in (ring, flute))
        path = write(tmp_path / f"{name}.csv", text)
        if name == "roof":  # as a drawing, whose sides are straight
            import ezdxf

            document = ezdxf.new(units=ezdxf.units.MM)
            document.modelspace().add_lwpolyline(ring)
            document.modelspace().add_lwpolyline(flute)
            path = tmp_path / "roof.dxf"
            document.saveas(path)
        found = taken(path)
        assert found.bar["outline"] == "points"
        assert found.bar.get("smooth", False) == (name == "oval")
        recipe = with_section(load(LIKE), found, path.name)
        outline = recipe.bar.build()
        assert np.abs(outline.nearest(ring - found.shift)[0]).max() < 2e-3


# ---- the commands


def test_drawing_writes_a_recipe_that_grinds(tmp_path, capsys):
    gouge = shape(load(LIKE))
    write(tmp_path / "mine.svg", svg_text(section_sheet(gouge.section, "a")))
    assert main(["drawing", "mine.svg", "--json"]) == 0
    said = json.loads(capsys.readouterr().out)
    assert said["grinds"] is True
    assert said["off"]["flute"]["largest_mm"] < 1e-5  # the recipe has five digits
    assert said["numbers"]["flute.radius_mm"]["value"] == pytest.approx(4.0, abs=1e-6)
    made = load("out/mine/recipe.toml")
    assert (made.bar, made.jig, made.grind) == (gouge.recipe.bar, gouge.recipe.jig, gouge.recipe.grind)
    assert {p.name for p in (tmp_path / "out/mine").iterdir()} == {
        *("recipe.toml", "result.json", "difference.png", "difference.svg")
    }


def test_a_section_that_cannot_be_ground_like_that_is_written_and_said(tmp_path, capsys):
    like = changed(load(LIKE), {"grind.0.wing_length_mm": 60.0})  # no pose of the jig goes so far back
    write(tmp_path / "like.toml", to_toml(like))
    write(tmp_path / "mine.dxf", dxf_text(section_sheet(build_section(like.bar, like.flute), "a")))
    assert main(["drawing", "mine.dxf", "--like", "like.toml", "--no-picture"]) == 0
    assert "it cannot be ground: the jig has no pose" in " ".join(capsys.readouterr().out.split())
    assert load("out/mine/recipe.toml").bar == like.bar


def test_export_writes_svg_and_dxf(tmp_path, capsys):
    assert main(["export", LIKE, "--json", "-o", "here"]) == 0
    sheets = json.loads(capsys.readouterr().out)["sheets"]
    assert sheets["section"]["wide_mm"] == pytest.approx(10.0, abs=1e-9)
    names = {f"{name}.{ending}" for name in ("section", "edge", "templates") for ending in ("svg", "dxf")}
    assert {p.name for p in (tmp_path / "here").iterdir()} == names
    assert taken(tmp_path / "here/section.dxf").bar["diameter_mm"] == pytest.approx(10.0, abs=1e-6)


# ---- bad files

SVG = '<svg xmlns="http://www.w3.org/2000/svg" width="{w}" height="{w}" viewBox="0 0 20 20">{body}</svg>'
OPEN = '<path d="M1 1 L5 9 L9 1"/>'
RING = '<circle cx="9" cy="9" r="5"/>'
BAD = {
    "empty.svg": (b"", "is empty"),
    "empty.dxf": (b"  \n", "is empty"),
    "cut.svg": (b'<svg xmlns="http://www.w3.org/2000/svg" width="20mm"><path d="M0', "not whole SVG"),
    "bomb.svg": (b'<!DOCTYPE svg [<!ENTITY a "b">]><svg/>', "defines entities of its own"),
    "other.svg": (b"<html></html>", "not an SVG"),
    "nothing.svg": (SVG.format(w="20mm", body="").encode(), "no line in it"),
    "unscaled.svg": (SVG.format(w="20", body=OPEN).encode(), "has no scale: this SVG has no width in mm"),
    "metres.svg": (SVG.format(w="0.02mm", body=OPEN).encode(), "mm across, taken from its width in mm"),
    "text.dxf": (b"hello\n", "not whole DXF"),
    "words.dxf": (b"hello\n0\nEOF\n", "cannot be read as DXF"),
    "points.csv": (b"1,2\nx,y\n", "line 2: given 'x,y'"),
    "one.csv": (b"1,2\n\n3,4\n5,6\n", "a single point"),
    "nan.csv": (b"1,2\nnan,3\n", "finite"),
    "binary.csv": (b"\xff\xfe\x00\x01", "not a text"),
    "picture.bmp": (b"x", "ends in .bmp"),
    "open.svg": (SVG.format(w="20mm", body=OPEN).encode(), "no closed outline"),
    "closed.svg": (SVG.format(w="20mm", body=RING).encode(), "has no line for the flute"),
    "down.svg": (SVG.format(w="20mm", body=RING + '<path d="M5 9 L9 3 L13 9"/>').encode(), "not go down from"),
    "aside.svg": (SVG.format(w="20mm", body=RING + '<path d="M5 3 Q7 11 9 3"/>').encode(), "beside the bar's middle"),
}  # fmt: skip


@pytest.mark.parametrize("name", BAD)
def test_bad_drawings_are_one_sentence(name, tmp_path, capsys):
    data, words = BAD[name]
    (tmp_path / name).write_bytes(data)
    assert main(["drawing", name]) == 2
    said = capsys.readouterr()
    assert said.err.startswith(f"gougeform: {name}: ")
    assert words in said.err
    assert said.err.count("\n") == 1
    assert said.out == ""
    assert [p.name for p in tmp_path.iterdir()] == [name]


def test_a_missing_scale_names_the_option(tmp_path, capsys):
    write(tmp_path / "u.svg", SVG.format(w="20", body=OPEN))
    assert main(["drawing", "u.svg"]) == 2
    assert "Give --scale: how many mm" in capsys.readouterr().err
    assert main(["drawing", "u.svg", "--scale", "0"]) == 2
    assert "--scale: given 0, allowed is above 0" in capsys.readouterr().err


def test_a_truncated_dxf_is_refused(tmp_path):
    text = dxf_text(section_sheet(shape(load(LIKE)).section, "a"))
    for share in (0.2, 0.5, 0.9, 0.999):
        with pytest.raises(InputError, match="DXF"):
            read_drawing(write(tmp_path / "cut.dxf", text[: int(len(text) * share)]))


def test_a_huge_drawing_is_not_read(tmp_path):
    with (tmp_path / "big.csv").open("wb") as file:
        file.truncate(20_000_002)
        file.write(b"1,2\n")
    with pytest.raises(InputError, match="has more than 20 MB"):
        read_drawing(tmp_path / "big.csv")


def test_a_drawing_of_too_many_lines_is_refused(tmp_path):
    body = "".join(f'<path d="M{k} 0 L{k} 1"/>' for k in range(20_001))
    with pytest.raises(InputError, match="more than 20000 lines"):
        read_drawing(write(tmp_path / "many.svg", SVG.format(w="20mm", body=body)))
