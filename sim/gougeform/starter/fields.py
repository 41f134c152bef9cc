"""For every field of a starter recipe: where the ruler or calliper goes, and what is usual in a turner's workshop.

What a field is and how far it may go stands in `gougeform.read.parts` alone; here is only what a hand does. The usual
ranges are common practice, from memory: they are there to notice a slip, not to limit anything.
"""

from __future__ import annotations

from dataclasses import dataclass

from gougeform.read.parts import VARIANTS, Part


@dataclass(frozen=True)
class Hint:
    """How a field is read off. how: a sentence without its full stop. usual: low and high, in the field's unit."""

    how: str
    usual: tuple[float, float] | None = None


_WORDS = {
    "path": "How the tool is moved: traced (to an outline, any jig) or steady (rolled at one setting, rod or table)",
    "steel": "Of what steel: hss, powder or carbon. Weight and stiffness hang on it, the edge does not",
    "land_mm": "What is left of the first bevel at the nose, in mm",
}
"""What the reader's own models have no description for."""

_PIN = "to the middle of the pin the arm or clamp turns about (no pin: where the arm bends)"
DROPS = {
    "axis": f"From the middle of the bar square down {_PIN}",
    "below": f"From the flat the bar lies on square down {_PIN}",
    "above": f"From the plate the lips are pressed up against square down {_PIN}",
    "vee": f"From the sharp bottom of the V, where its walls would meet, square down {_PIN}",
}
CLAMPS = {
    "axis": "its axis, whatever its size",
    "below": "a flat under it",
    "above": "a plate over its lips",
    "vee": "a V under it",
}

HINTS: dict[str, Hint] = {
    "bar.diameter_mm": Hint("Calliper across the shank, behind the flute", (6, 20)),
    "bar.side_mm": Hint("Calliper across two opposite sides, behind the flute", (6, 16)),
    "bar.corner_radius_mm": Hint("Radius gauge, or half a drill whose round fits the corner; 0 is sharp", (0, 2)),
    "bar.points_mm": Hint("In order round the bar, x from the middle of the flute, y up from the axis"),
    "bar.length_mm": Hint("Ruler along the bar, ferrule to nose", (80, 300)),
    "flute.radius_mm": Hint("Half the thickness of the drill that fills the flute without rocking", (2, 10)),
    "flute.floor_radius_mm": Hint("Half the thickness of the thickest drill that still lies on the floor", (0.5, 6)),
    "flute.half_width_mm": Hint("Half of what an inside calliper reads at the flute's widest", (2, 8)),
    "flute.flank_angle_deg": Hint("Bevel gauge on one flank, against a square held upright in the middle", (10, 45)),
    "flute.points_mm": Hint("Calliper's depth rod every half millimetre, from lip to lip and the same to both sides"),
    "flute.web_mm": Hint("At a square-cut end, calliper tip on the floor and jaw on the underside", (2, 12)),
    "flute.length_mm": Hint("Ruler from the nose to where the flute begins to get shallower", (30, 150)),
    "wheel.diameter_mm": Hint("Ruler right across the wheel as it is today: wheels wear, labels do not", (120, 300)),
    "wheel.width_mm": Hint("Ruler across the face", (20, 60)),
    "wheel.corner_radius_mm": Hint("Radius gauge at the face's edge; 0 is sharp, worn wheels are round", (0, 3)),
    "wheel.rpm": Hint("From the motor's plate (a belt drive: times the ratio of the pulleys)", (900, 3600)),
    "wheel.rated_m_s": Hint(
        "Read it off the wheel. Where only a largest rpm is printed: rpm × 3.1416 × the new wheel's mm / 60000",
        (20, 50),
    ),
    "jig.clamp": Hint("Which part of the clamp the bar is pressed to"),
    "jig.vee_deg": Hint("Protractor across the V's two walls", (60, 120)),
    "jig.projection_mm": Hint("Ruler along the bar, clamp's front face to nose", (40, 120)),
    "jig.hinge_back_mm": Hint(f"Along the bar, clamp's front face back {_PIN}", (0, 60)),
    "jig.hinge_drop_mm": Hint("", (-30, 60)),
    "jig.arm_length_mm": Hint("Straight from that pin to the point the foot stands on", (40, 200)),
    "jig.arm_cant_deg": Hint("Protractor between bar and that straight line; 0 is along the bar", (-10, 70)),
    "jig.hinge_cant_deg": Hint("Protractor between bar and hinge axis; above 0 it rises toward the nose", (0, 70)),
    "jig.shoe_mm": Hint("Square to the bar from that pin to the rod's surface, and half the rod's diameter", (10, 80)),
    "jig.rod_diameter_mm": Hint("Calliper across the rod", (6, 30)),
    "jig.height_mm": Hint(
        "Pocket's or rod's height from the floor less the spindle's. Only moves the place on the wheel", (-250, 200)
    ),
    "jig.nose_angle_deg": Hint("The angle of steel you want at the nose: smaller is sharper", (25, 70)),
    "jig.rim_distance_mm": Hint("Straight, wheel's face to the bottom of the pocket or the rod's middle", (10, 400)),
    "jig.centre_distance_mm": Hint("Straight, middle of the spindle to the same place", (100, 600)),
    "grind.wing_length_mm": Hint("Ruler along the bar, nose back to where the edge ends at the lip", (2, 25)),
    "grind.fullness": Hint("More makes the edge fuller seen from above; leave it first", (0.3, 0.6)),
    "grind.shoulder": Hint("1 is broad and square-shouldered, 0.3 pointed; leave it first", (0.3, 1)),
    "grind.roll_max_deg": Hint("As far as you turn the handle from upright", (60, 120)),
    "grind.land_mm": Hint("What shall be left of the first bevel at the nose", (1, 4)),
}
"""By "table.field". `jig.hinge_drop_mm` is completed from DROPS."""

TABLE_PROJECTION = Hint("Ruler along the bar, nose back to the fingers", (40, 120))
TABLE_TILT = Hint("Set the table so that bar and a straight edge touching the wheel at the nose make it", (25, 70))


def described(section: str, name: str, model: type[Part]) -> str:
    """What the recipe's reader itself says a field is, as a sentence's start; for one that chooses, the choices."""
    if name in _WORDS:
        return _WORDS[name]
    tag, models, _ = VARIANTS.get(section, ("", {}, None))
    if name == tag:
        *first, last = models
        return f"Which {section} it is: {', '.join(first)} or {last}. Each has fields of its own"
    text = model.model_fields[name].description or name.replace("_", " ")
    return text[:1].upper() + text[1:]


def comment(section: str, name: str, model: type[Part], hint: Hint | None) -> str:
    """The one comment of a field: what it is, where the ruler goes, what is usual."""
    parts = [described(section, name, model)]
    if hint is not None and hint.how:
        parts.append(hint.how)
    if hint is not None and hint.usual is not None:
        parts.append(f"Usual: {hint.usual[0]:g} to {hint.usual[1]:g}")
    return ". ".join(parts) + "."
