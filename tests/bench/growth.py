"""How the cost grows: time over rays, knots, stations, triangles, grinds, places and points, each with its exponent."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

import numpy as np

from bench.contacts import ROUGH
from bench.timing import Row, row, say, timed
from brute import blank, ground
from conftest import grind_tool, tool_table
from dense import points_in
from gougeform.grind.gouge import shape
from gougeform.grind.ground import Ground
from gougeform.machine.sweep import traced
from gougeform.many.crew import cores
from gougeform.measure.edge import measure_edge
from gougeform.mesh.solid import build_solid
from gougeform.reach.result import Terms, reach
from gougeform.reach.search import USUAL
from gougeform.recipe.reading import from_table
from gougeform.study.plan import Plan
from gougeform.study.plan import from_table as plan_of
from gougeform.study.run import run
from gougeform.work.files import load_work


@dataclass(frozen=True)
class Curve:
    """Processor time (s) over a size. by: the fitted exponent over the upper half of the sizes."""

    title: str
    size: str
    sizes: tuple[float, ...]
    cpu_s: tuple[float, ...]
    clock_s: tuple[float, ...]

    @property
    def by(self) -> float:
        """Least squares slope in logarithms; small sizes are left out, where what is always done weighs most."""
        n = max(2, (len(self.sizes) + 1) // 2)
        return float(np.polyfit(np.log(self.sizes[-n:]), np.log(self.cpu_s[-n:]), 1)[0])


EDGE = ["nose_angle_deg", "wing_angle_deg.25", "wing_angle_deg.50", "wing_angle_deg.75", "wing_angle_deg.95"]
EDGE += ["edge_length_mm", "bevel_length_mm", "overcut_mm"]


def edges(points: int, **own) -> Plan:
    """A study of nose angle and projection that measures the edge of each tool."""
    vary = [
        {"field": "grind.0.nose_angle_deg", "from": 32.0, "to": 40.0},
        {"field": "jig.projection_mm", "from": 60.0, "to": 70.0},
    ]
    table = {"recipe": "finial-round-10-fingernail-foot", "sample": "latin", "points": points, "outputs": EDGE}
    return plan_of(table | {"vary": vary} | own, name="bench")


def on_all_cores(quick: bool) -> list[Row]:
    """A study on one core and on all: what it costs to spread it, and what the clock gains."""
    say("study")
    count, rows = 8 if quick else 2000, []
    for workers in (1,) if quick else (1, cores()):
        _, times = timed(partial(_study, count, workers), 1, warm=quick)
        more = 10_000 / count
        both = f"{more * times.cpu_s:.0f} s of processor, {more * times.clock_s:.0f} s by the clock"
        each = f"{count:,} edges; 10,000: {both}"
        rows.append(row("study", f"ours: {workers} process{'es' if workers > 1 else ''}", each, times))
    return rows


def _study(points: int, workers: int = 1) -> None:
    with tempfile.TemporaryDirectory() as folder:
        run(edges(points), Path(folder), workers=workers, quiet=True)


def _curve(
    title: str, size: str, cases: Iterable[tuple[float, Callable[[], object]]], rounds: int = 5, quick: bool = False
) -> Curve:
    say(f"growth: {title}")
    found: list[tuple[float, float, float]] = []
    for value, work in cases:
        if not found and not quick:
            work()  # loads what is loaded when first used
        _, times = timed(work, 1 if quick else rounds, warm=rounds > 1 and not quick)
        found.append((float(value), times.cpu_s, times.clock_s))
    return Curve(title, size, *(tuple(column) for column in zip(*found, strict=True)))


def curves(quick: bool) -> list[Curve]:
    """All of them; `quick` takes the two or three smallest sizes of each."""

    def curve(title: str, size: str, cases: Iterable[tuple[float, Callable[[], object]]], rounds: int = 5) -> Curve:
        return _curve(title, size, cases, rounds, quick)

    def sizes(*values: float) -> tuple[float, ...]:
        return values[:2] if quick else values

    foot = grind_tool("foot")
    relief = foot if quick else grind_tool("foot-relief")
    rays = points_in(foot.section, 100_000 if not quick else 1000)
    some = rays[:: max(1, len(rays) // 4000)]
    one = foot.ground.passes[0]

    def with_knots(count: int) -> Ground:
        path = one.path
        return Ground((replace(one, path=traced(path.outline, foot.jigs[0], one.wheel, 0.0, count)),))

    def grinds(count: int):
        table = tool_table("foot")
        table["grind"] += [{"nose_angle_deg": a, "land_mm": b} for a, b in ((28.0, 1.5), (22.0, 4.0))][: count - 1]
        return shape(from_table(table))

    def triangles() -> Iterable[tuple[float, Callable[[], object]]]:
        for tolerance in sizes(0.3, 0.03, 0.01, 0.003, 0.001, 0.0005):
            yield len(build_solid(relief, tolerance).faces), partial(build_solid, relief, tolerance)

    bar, finial = blank(foot.section, 22.0, 1.0, points=60 if quick else 600), load_work("finial")
    counts = (101, 301, 1001, 3001, 10_001, 30_001)
    return [
        curve(
            "heights of rays",
            "rays",
            [
                (n, partial(foot.ground.heights, rays[:: len(rays) // n][:n]))
                for n in map(int, sizes(100, 1000, 3000, 10_000, 30_000, 100_000))
            ],
        ),
        curve(
            "heights, closer knots",
            "knots of the path (4,000 rays)",
            [(n, partial(with_knots(n).heights, some)) for n in map(int, sizes(51, 101, 201, 401, 801, 1601))],
            3,
        ),
        curve(
            "edge and its measures",
            "stations",
            [(n, partial(measure_edge, foot, n)) for n in map(int, sizes(*counts))],
            3,
        ),
        curve("mesh of the tool", "triangles", triangles(), 1),
        curve(
            "edge and its measures",
            "grinds (401 stations)",
            [(n, partial(measure_edge, grinds(n))) for n in (1, 2, 3)],
        ),
        curve(
            "reach of a tool",
            "places",
            [
                (n, partial(reach, relief, finial, Terms(places=n, fineness=ROUGH if quick else USUAL)))
                for n in map(int, sizes(4, 8, 16, 32, 64))
            ],
            1,
        ),
        curve("study", "tools", [(n, partial(_study, n)) for n in map(int, sizes(8, 32, 128, 512, 2048))], 1),
        curve(
            "for comparison: booleans",
            "poses (1,024 facets)" if not quick else "poses (64 facets)",
            [(n, partial(ground, bar, one, n, 64 if quick else 1024)) for n in map(int, sizes(10, 30, 100, 300))],
            1,
        ),
    ]


def figure(found: list[Curve], path: Path) -> None:
    """Small multiples, both axes logarithmic, readable at 900 pixels."""
    import matplotlib

    matplotlib.use("Agg")
    import matplotlib.pyplot as plt

    across = 4
    down = -(-len(found) // across)
    fig, axes = plt.subplots(down, across, figsize=(9, 2.5 * down), dpi=100, squeeze=False)
    for one, axis in zip(found, axes.flat, strict=False):
        axis.loglog(one.sizes, one.cpu_s, "o-", color="#1f5a8a", markersize=4, linewidth=1.4)
        axis.set_title(one.title, fontsize=9.5)
        axis.set_xlabel(one.size, fontsize=9)
        axis.tick_params(labelsize=8.5, which="major")
        axis.minorticks_off()
        axis.grid(True, which="major", color="#dddddd", linewidth=0.6)
        # Few powers of ten fall inside some of these: the ends are named instead.
        ends = (one.sizes[0], one.sizes[-1]) if len(one.sizes) > 3 else one.sizes
        axis.set_xticks(ends, [f"{n:,.0f}" for n in ends])
        low, high = one.cpu_s[0], one.cpu_s[-1]
        axis.set_yticks([low, high], [_seconds(low), _seconds(high)])
        axis.margins(x=0.12)
        axis.text(0.05, 0.93, f"∝ n$^{{{one.by:.2f}}}$", transform=axis.transAxes, va="top", fontsize=10)
        axis.set_ylim(min(one.cpu_s) / 2, max(one.cpu_s) * 4)
    for axis in axes.flat[len(found) :]:
        axis.set_visible(False)
    for line in axes:
        line[0].set_ylabel("processor time", fontsize=9)
    fig.tight_layout(pad=0.6)
    fig.savefig(path, metadata={"Software": None})
    plt.close(fig)


def _seconds(time: float) -> str:
    return f"{1e3 * time:.2g} ms" if time < 0.1 else f"{time:.2g} s"
