"""What a workpiece file may say, each table checked when it is made. Lengths in mm, as in the file."""

from __future__ import annotations

from typing import Annotated, ClassVar, Literal

from annotated_types import Len
from pydantic import Field, StrictBool, model_validator

from gougeform.errors import InputError
from gougeform.part import Number, Part
from gougeform.quantity import Quantity, Words

Along = Annotated[Number, Field(ge=-5000, le=5000)]
Out = Annotated[Number, Field(ge=0, le=2000)]
Place = tuple[Along, Out]
Kind = Literal["spindle", "hollow", "ring"]
PAIR = "a pair [x, rho] of numbers in mm"
End = Annotated[Place, Words("end", "end of the piece as [x along the lathe, rho from its axis] in mm", allowed=PAIR)]
Radius = Quantity("radius", "radius of the arc in mm", gt=0, le=1e5, step=0.1)


class _Piece(Part):
    cut: StrictBool = Field(True, description="whether a tool is to follow this piece")
    inside: StrictBool | None = Field(None, description="whether it is reached through the mouth of a hollow")


class Line(_Piece):
    """A straight piece."""

    noun: ClassVar[str] = "a line"
    shape: Literal["line"] = "line"
    to_mm: End


class Arc(_Piece):
    """A circular piece; it bulges out of the wood, or into it."""

    noun: ClassVar[str] = "an arc"
    shape: Literal["arc"] = "arc"
    to_mm: End
    radius_mm: Annotated[float, Radius]
    bulge: Literal["out", "in"] = Field(description="out of the wood (convex) or into it (concave)")
    long: StrictBool = Field(False, description="whether the arc is more than half a circle")


class _Swell(_Piece):
    to_mm: End
    radius_mm: Annotated[float | None, Radius] = None

    def _one(self, name: str, value: float | None) -> None:
        if (self.radius_mm is None) == (value is None):
            both = value is not None
            raise InputError(
                name if both else "radius_mm",
                f"radius_mm and {name} are both given" if both else f"radius_mm or {name} is missing",
                f"give exactly one of radius_mm and {name}",
            )


class Cove(_Swell):
    """A circular piece hollowed into the wood, less than half a circle when given by its radius."""

    noun: ClassVar[str] = "a cove"
    shape: Literal["cove"] = "cove"
    depth_mm: Annotated[
        float | None, Quantity("depth", "depth below the straight line, in mm", gt=0, le=2000, step=0.1)
    ] = None

    @model_validator(mode="after")
    def _fits(self) -> Cove:
        self._one("depth_mm", self.depth_mm)
        return self


class Bead(_Swell):
    """A circular piece standing out of the wood, less than half a circle when given by its radius."""

    noun: ClassVar[str] = "a bead"
    shape: Literal["bead"] = "bead"
    height_mm: Annotated[
        float | None, Quantity("height", "height over the straight line, in mm", gt=0, le=2000, step=0.1)
    ] = None

    @model_validator(mode="after")
    def _fits(self) -> Bead:
        self._one("height_mm", self.height_mm)
        return self


class Hollow(_Piece):
    """A cup turned into the end, from the rim where the last piece ended to the axis: wall, round corner, floor."""

    noun: ClassVar[str] = "a hollow"
    shape: Literal["hollow"] = "hollow"
    depth_mm: Annotated[float, Quantity("depth", "depth of the hollow from its rim, in mm", gt=0, le=2000, step=0.1)]
    corner_radius_mm: Annotated[
        float,
        Quantity(
            "corner radius",
            "radius between wall and floor; the rim's own makes a round bottom",
            gt=0,
            le=2000,
            step=0.1,
        ),
    ]


SHAPES: dict[str, type[_Piece]] = {"line": Line, "arc": Arc, "cove": Cove, "bead": Bead, "hollow": Hollow}
AnyPiece = Line | Arc | Cove | Bead | Hollow


class Fixture(Part):
    """What turns with the wood and is never cut: jaws of a chuck, a faceplate, a drive or live centre, as a cone."""

    noun: ClassVar[str] = "a fixture"
    from_mm: Annotated[Number, Words("from", "one end along the lathe, in mm"), Field(ge=-5000, le=5000)]
    to_mm: Annotated[Number, Words("to", "the other end along the lathe, in mm"), Field(ge=-5000, le=5000)]
    diameter_mm: Annotated[float, Quantity("diameter", "diameter, of a cone at `from_mm`", gt=0, le=4000, step=1.0)]
    to_diameter_mm: Annotated[
        float | None, Quantity("far diameter", "diameter of a cone at `to_mm`", gt=0, le=4000, step=1.0)
    ] = None

    @model_validator(mode="after")
    def _long(self) -> Fixture:
        if abs(self.to_mm - self.from_mm) < 1e-3:
            raise InputError("to_mm", f"given {self.to_mm:g}: the fixture has no length", "another end")
        return self


class Frame(Part):
    """A workpiece file without its pieces."""

    noun: ClassVar[str] = "a workpiece"
    title: str = Field("", max_length=200, description="one line about the workpiece")
    kind: Annotated[Kind, Words("kind", "what the chain encloses")] = "spindle"
    opens: Annotated[Literal["right", "left"], Words("opens", "the side its hollow opens to")] = "right"
    start_mm: Place | None = Field(None, description="where the first piece begins, as [x, rho] in mm")
    points_mm: Annotated[tuple[Place, ...], Len(3, 5000)] | None = Field(
        None, description="the profile as measured, instead of pieces"
    )
    corner_deg: Annotated[
        float,
        Quantity(
            "corner", "points where the profile bends by more than this stay sharp, in degrees", gt=0, lt=180, step=1
        ),
    ] = 30.0
