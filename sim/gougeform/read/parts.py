"""The nouns of a recipe: bar, flute, wheel, jig and path, each checked when it is made.

Every length is in mm and every angle in degrees, as in the file; whoever computes converts once. Making one
with a field that is unknown, missing, of the wrong type or out of its range raises pydantic's
ValidationError; fields that do not fit together raise InputError with the field's plain name.
"""

from __future__ import annotations

import math
from typing import Annotated, ClassVar, Literal, Self

from annotated_types import Gt, Len, Lt
from pydantic import AllowInfNan, BaseModel, ConfigDict, Field, Strict, model_validator

from gougeform.errors import InputError

Number = Annotated[float, Strict(), AllowInfNan(False)]
Coordinate = Annotated[Number, Field(ge=-200, le=200)]
Points = Annotated[tuple[tuple[Coordinate, Coordinate], ...], Len(3, 5000)]

DISTANCES = ("nose_angle_deg", "centre_distance_mm", "rim_distance_mm")
"""The three ways to say how far a jig stands from the wheel; exactly one is given."""


SMALLEST = 1e-6
"""Of a number that must be above 0: of a mm it is a nanometre. Below it products of two vanish."""

SHARPEST = 1e-3
"""By how much a fullness must stay below 1, where the conic becomes the corner at its control point."""


class Part(BaseModel):
    """What all tables of a recipe share: unknown fields are refused, nothing changes once it is made."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    noun: ClassVar[str] = "part"

    @model_validator(mode="after")
    def _not_next_to_nothing(self) -> Self:
        for name, info in type(self).model_fields.items():
            value = getattr(self, name)
            if isinstance(value, float) and 0 < value < SMALLEST and Gt(0) in info.metadata:
                raise InputError(
                    name,
                    f"given {value:g}, which is next to nothing: allowed is {SMALLEST:g} or more",
                    f"change {name}: {info.description}",
                )
            if isinstance(value, float) and 1 - SHARPEST < value < 1 and Lt(1) in info.metadata:
                raise InputError(
                    name,
                    f"given {value:.17g}, which is next to 1, a corner: allowed is {1 - SHARPEST:g} or less",
                    f"change {name}: {info.description}",
                )
        return self


class Steel(Part):
    """What a bar is made of."""

    noun: ClassVar[str] = "a steel"
    name: str = Field("", max_length=200, description="what the steel is called")
    young_gpa: Number = Field(gt=0, le=1000, description="Young's modulus of the steel in GPa")
    density_g_cm3: Number = Field(gt=0, le=25, description="density of the steel in g/cm³")
    poisson: Number = Field(0.29, gt=0, lt=0.5, description="Poisson's ratio of the steel")


class _Bar(Part):
    length_mm: Number = Field(gt=0, le=3000, description="length of steel ahead of the ferrule, in mm")
    steel: Steel


class RoundBar(_Bar):
    """A bar with a circle as its outline; the axis is the circle's centre."""

    noun: ClassVar[str] = "a round bar"
    outline: Literal["round"] = "round"
    diameter_mm: Number = Field(gt=0, le=200, description="diameter of the bar in mm")


class SquareBar(_Bar):
    """A bar with a square outline, a side on top; the axis is the square's centre."""

    noun: ClassVar[str] = "a square bar"
    outline: Literal["square"] = "square"
    side_mm: Number = Field(gt=0, le=200, description="side of the square in mm")
    corner_radius_mm: Number = Field(0.0, ge=0, le=100, description="radius of the bar's four corners in mm")

    @model_validator(mode="after")
    def _corners_fit(self) -> SquareBar:
        _at_most_half("corner_radius_mm", self.corner_radius_mm, "side_mm", self.side_mm)
        return self


class PointsBar(_Bar):
    """A bar with a measured closed outline: points (n, 2) in order around it, from the bar axis."""

    noun: ClassVar[str] = "a bar from points"
    outline: Literal["points"] = "points"
    points_mm: Points = Field(description="closed outline of the bar in mm, as a list of [x, y]")


class _Flute(Part):
    length_mm: Number = Field(gt=0, le=3000, description="full-depth length of the flute in mm")
    run_out_mm: Number | None = Field(
        None, gt=0, le=3000, description="length in mm over which the flute runs out behind"
    )


class _CurveFlute(_Flute):
    web_mm: Number = Field(gt=0, le=200, description="steel from the floor straight down to the underside, in mm")


class ArcFlute(_CurveFlute):
    """A flute cut with a round-nosed cutter: one circle."""

    noun: ClassVar[str] = "an arc flute"
    shape: Literal["arc"] = "arc"
    radius_mm: Number = Field(gt=0, le=1000, description="radius of the flute in mm")


class ParabolaFlute(_CurveFlute):
    """y = y_floor + x² / (2 floor_radius)."""

    noun: ClassVar[str] = "a parabola flute"
    shape: Literal["parabola"] = "parabola"
    floor_radius_mm: Number = Field(gt=0, le=1000, description="radius of the flute at its floor in mm")


class EllipseFlute(_CurveFlute):
    """An upright ellipse: half its width, and the radius at its floor (half width² / half height)."""

    noun: ClassVar[str] = "an ellipse flute"
    shape: Literal["ellipse"] = "ellipse"
    floor_radius_mm: Number = Field(gt=0, le=1000, description="radius of the flute at its floor in mm")
    half_width_mm: Number = Field(gt=0, le=1000, description="half the full width of the ellipse in mm")


class VeeFlute(_CurveFlute):
    """Two flat flanks with a round floor between them."""

    noun: ClassVar[str] = "a vee flute"
    shape: Literal["vee"] = "vee"
    floor_radius_mm: Number = Field(gt=0, le=1000, description="radius of the flute at its floor in mm")
    flank_angle_deg: Number = Field(
        gt=0, lt=90, description="angle of each flank to the flute's middle plane in degrees"
    )


class PointsFlute(_Flute):
    """A measured flute: points (n, 2) from lip to lip or from the floor outward.

    Without web_mm their y are heights over the bar axis; with it they are shifted to that web.
    """

    noun: ClassVar[str] = "a flute from points"
    shape: Literal["points"] = "points"
    points_mm: Points = Field(description="the flute's curve in mm, as a list of [x, y]")
    web_mm: Number | None = Field(
        None, gt=0, le=200, description="steel from the floor straight down to the underside, in mm"
    )


class Wheel(Part):
    """A cylinder, or a belt: its limit, a plane. A belt has no diameter."""

    noun: ClassVar[str] = "a wheel"
    kind: Literal["wheel", "belt"] = "wheel"
    diameter_mm: Number | None = Field(None, gt=0, le=1e8, description="diameter of the wheel in mm")
    width_mm: Number = Field(gt=0, le=1000, description="width of the face in mm")
    corner_radius_mm: Number = Field(1.0, ge=0, le=500, description="radius between the face and the sides in mm")
    rpm: Number | None = Field(None, gt=0, le=1e6, description="speed in turns a minute")
    rated_m_s: Number | None = Field(None, gt=0, le=1000, description="highest speed of the face printed on it, in m/s")

    @model_validator(mode="after")
    def _fits(self) -> Wheel:
        if self.kind == "wheel" and self.diameter_mm is None:
            raise InputError(
                "diameter_mm",
                "is missing: a wheel needs a diameter above 0 and at most 1e+08 mm",
                'add diameter_mm, or say kind = "belt" for a flat belt',
            )
        if self.kind == "belt" and self.diameter_mm is not None:
            raise InputError(
                "diameter_mm",
                f"given {self.diameter_mm:g}, not allowed for a belt, which is flat",
                'remove diameter_mm, or say kind = "wheel"',
            )
        _at_most_half("corner_radius_mm", self.corner_radius_mm, "width_mm", self.width_mm)
        return self

    @property
    def radius_mm(self) -> float:
        """Half the diameter in mm; infinite for a belt."""
        return math.inf if self.diameter_mm is None else self.diameter_mm / 2

    @property
    def speed_m_s(self) -> float | None:
        """Speed of the face in m/s from rpm; None without rpm, and for a belt, whose pulley is not known."""
        if self.rpm is None or self.diameter_mm is None:
            return None
        return math.pi * self.diameter_mm * self.rpm / 60_000


class Handle(Part):
    """What follows behind the steel, and where hands and rest are; every field has a usual value."""

    noun: ClassVar[str] = "a handle"
    ferrule_diameter_mm: Number = Field(22.0, gt=0, le=200, description="diameter of the ferrule in mm")
    ferrule_length_mm: Number = Field(25.0, gt=0, le=500, description="length of the ferrule in mm")
    handle_diameter_mm: Number = Field(30.0, gt=0, le=200, description="largest diameter of the handle in mm")
    handle_length_mm: Number = Field(275.0, gt=0, le=3000, description="length of the handle behind the ferrule in mm")
    tang_mm: Number = Field(45.0, ge=0, le=3000, description="length of the bar inside ferrule and handle, in mm")
    hand_mm: Number = Field(
        220.0, gt=0, le=3000, description="middle of the rear hand behind the front of the ferrule, in mm"
    )
    young_gpa: Number = Field(12.0, gt=0, le=1000, description="Young's modulus of the handle along it, in GPa")
    density_g_cm3: Number = Field(0.7, gt=0, le=25, description="density of the handle in g/cm³")

    @model_validator(mode="after")
    def _hands_fit(self) -> Handle:
        whole = self.ferrule_length_mm + self.handle_length_mm
        for name, value in (("hand_mm", self.hand_mm), ("tang_mm", self.tang_mm)):
            if value > whole:
                raise InputError(
                    name,
                    f"given {value:g}, allowed is at most the length of ferrule and handle, {whole:g} mm",
                    f"make {name} smaller or handle_length_mm larger",
                )
        return self


class _Jig(Part):
    projection_mm: Number = Field(gt=0, le=1000, description="how far the nose stands ahead of the clamp face in mm")
    nose_angle_deg: Number | None = Field(
        None, ge=1, le=179, description="the nose angle the distance follows from, in degrees"
    )


class _ClampJig(_Jig):
    hinge_back_mm: Number = Field(ge=0, le=1000, description="how far the hinge lies behind the clamp face, in mm")
    hinge_drop_mm: Number = Field(
        ge=-200, le=1000, description="how far the hinge lies below what the bar is held against, in mm"
    )
    clamp: Literal["axis", "below", "above", "vee"] = Field("axis", description="what the bar is held against")
    vee_deg: Number | None = Field(None, gt=0, lt=180, description="opening of the clamp's V in degrees")
    height_mm: Number = Field(
        0.0, ge=-1e4, le=1e4, description="height of the pocket or rod over the wheel's centre, in mm"
    )
    centre_distance_mm: Number | None = Field(
        None, gt=0, le=1e8, description="wheel's centre to the pocket or rod, in mm"
    )
    rim_distance_mm: Number | None = Field(None, gt=0, le=1e8, description="wheel's rim to the pocket or rod, in mm")

    @model_validator(mode="after")
    def _settings_fit(self) -> _ClampJig:
        if self.clamp == "vee" and self.vee_deg is None:
            raise InputError(
                "vee_deg",
                'is missing: clamp = "vee" needs the opening of its V, above 0 and below 180 degrees',
                "add vee_deg, or choose another clamp",
            )
        if self.clamp != "vee" and self.vee_deg is not None:
            raise InputError(
                "vee_deg",
                f'given {self.vee_deg:g}, allowed only with clamp = "vee", here clamp is "{self.clamp}"',
                'remove vee_deg, or say clamp = "vee"',
            )
        given = [name for name in DISTANCES if getattr(self, name) is not None]
        if len(given) != 1:
            raise InputError(
                given[1] if given else "nose_angle_deg",
                (" and ".join(given) + " are given" if given else "no distance is given")
                + f", allowed is exactly one of {', '.join(DISTANCES)}",
                "keep one of them and remove the others" if given else "add one of them",
            )
        return self


class FootJig(_ClampJig):
    """An arm that ends in a foot, which stands in a pocket."""

    noun: ClassVar[str] = "a foot jig"
    kind: Literal["foot"] = "foot"
    arm_length_mm: Number = Field(gt=0, le=1000, description="hinge to the foot in mm")
    arm_cant_deg: Number = Field(gt=-90, lt=90, description="angle of the arm below the bar axis in degrees")


class RodJig(_ClampJig):
    """A clamp hinged to a shoe that rides on a straight rod parallel to the wheel's axis."""

    noun: ClassVar[str] = "a rod jig"
    kind: Literal["rod"] = "rod"
    hinge_cant_deg: Number = Field(gt=-90, lt=90, description="angle of the hinge to the bar axis in degrees")
    shoe_mm: Number = Field(gt=0, le=1000, description="hinge point to the rod's centre in mm")
    rod_diameter_mm: Number = Field(gt=0, le=200, description="diameter of the rod in mm")


class TableJig(_Jig):
    """A flat table, tilted for a nose angle; the bar rolls on it and swings about where fingers hold it."""

    noun: ClassVar[str] = "a table"
    kind: Literal["table"] = "table"
    projection_mm: Number = Field(
        65.0, gt=0, le=1000, description="how far behind the nose the fingers hold the bar, in mm"
    )
    nose_angle_deg: Number = Field(ge=1, le=179, description="the nose angle the table is tilted for, in degrees")


class TracedPath(Part):
    """The person grinds until the edge has this outline, and the jig decides the angles."""

    noun: ClassVar[str] = "a traced path"
    path: Literal["traced"] = "traced"
    wing_length_mm: Number = Field(gt=0, le=200, description="how far the lips lie behind the nose, in mm")
    fullness: Number = Field(math.sqrt(2) - 1, gt=0, lt=1, description="the conic's fullness")
    shoulder: Number = Field(0.8, gt=0, le=1, description="the control point's place as a share of the lip's x")
    contact_mm: Number = Field(
        0.0, ge=-500, le=500, description="place of the contact across the wheel's face, 0 the middle, in mm"
    )


class SteadyPath(Part):
    """The jig's dip or feed is held and the bar rolled to both sides."""

    noun: ClassVar[str] = "a steady path"
    path: Literal["steady"] = "steady"
    roll_max_deg: Number = Field(gt=0, le=180, description="roll to either side in degrees")


Bar = RoundBar | SquareBar | PointsBar
Flute = ArcFlute | ParabolaFlute | EllipseFlute | VeeFlute | PointsFlute
Jig = FootJig | RodJig | TableJig
Path = TracedPath | SteadyPath

VARIANTS: dict[str, tuple[str, dict[str, type[Part]], str | None]] = {
    "bar": ("outline", {"round": RoundBar, "square": SquareBar, "points": PointsBar}, None),
    "flute": (
        "shape",
        {
            "arc": ArcFlute,
            "parabola": ParabolaFlute,
            "ellipse": EllipseFlute,
            "vee": VeeFlute,
            "points": PointsFlute,
        },
        None,
    ),
    "wheel": ("kind", {"wheel": Wheel, "belt": Wheel}, "wheel"),
    "jig": ("kind", {"foot": FootJig, "rod": RodJig, "table": TableJig}, None),
    "path": ("path", {"traced": TracedPath, "steady": SteadyPath}, "traced"),
}
"""For each table with variants: the field that says which, the models by its value, and its default."""


def _at_most_half(name: str, value: float, of_name: str, of: float) -> None:
    if value > of / 2:
        raise InputError(
            name,
            f"given {value:g}, allowed is at most half of {of_name} = {of:g}, that is {of / 2:g} mm",
            f"make {name} smaller or {of_name} larger",
        )
