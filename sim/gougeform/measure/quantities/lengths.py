"""Lengths of edge and bevel, and what the grind takes off the tool's length."""

from __future__ import annotations

from gougeform.measure.measured import PAGE, Measured

MEASURED = (
    Measured("wing_length_mm", "wing length", lambda m: (m.edge.wing_length(-1), m.edge.wing_length(1)),
             "nose to lip, along the bar", places=("left", "right")),
    Measured("edge_length_mm", "edge length, lip to lip", lambda m: m.edge.length, "arc length of the whole edge"),
    Measured("bevel_length_mm", "bevel at the nose", lambda m: m.edge.bevel[m.edge.nose], "edge to heel at the nose",
             told=PAGE),
    Measured("hollow_depth_mm", "hollow at the nose", lambda m: m.edge.nose_hollow,
             "depth of the bevel's hollow at the nose", error="hollow_mm", digits=3, told=PAGE),
    Measured("land_mm", "land at the nose", lambda m: m.land, "edge to crease at the nose, where there is a relief",
             told=PAGE),
    Measured("overcut_mm", "cut past the asked outline", lambda m: m.edge.overcut, "cut past the outline asked for",
             digits=3),
    Measured("nose_loss_mm", "tool gets shorter by", lambda m: m.nose_loss, "how much shorter the tool gets",
             cost_ms=4),
)  # fmt: skip
