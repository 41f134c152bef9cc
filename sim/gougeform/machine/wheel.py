"""The abrasive as a person gives it: a wheel, or a belt, with what stands around it where that is known."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Annotated, ClassVar, Literal

from pydantic import model_validator

from gougeform.errors import InputError
from gougeform.kinds import Kinds
from gougeform.part import Part, at_most_half
from gougeform.quantity import Quantity, Words

if TYPE_CHECKING:
    from gougeform.machine.solid import WheelSolid


class Around(Part):
    """Something fixed that stands around a part of a wheel, as wide as the wheel or wider: its side toward the rim.

    Directions are seen from the wheel's centre, above the horizontal on the person's side: 0 straight toward the
    person, 90 straight up, 180 straight away; it reaches from from_deg up to to_deg.
    """

    gap_mm: Annotated[
        float,
        Quantity(
            "gap to the rim",
            "how far it stands off the wheel's rim, in mm",
            ge=0,
            le=1000,
            usual=(1, 10),
            step=0.5,
            how="Feeler gauge or drill between it and the wheel as it is today",
        ),
    ]
    from_deg: Annotated[
        float,
        Quantity(
            "begins at",
            "direction of its lower end from the wheel's centre, in degrees",
            ge=-360,
            le=360,
            step=1,
            how="Protractor at the wheel's centre, from level toward you; below level it is negative",
        ),
    ]
    to_deg: Annotated[
        float,
        Quantity(
            "ends at",
            "direction of its upper end from the wheel's centre, in degrees",
            ge=-360,
            le=360,
            step=1,
            how="Protractor at the wheel's centre, from level toward you",
        ),
    ]

    @model_validator(mode="after")
    def _runs_upward(self) -> Around:
        if not self.from_deg < self.to_deg <= self.from_deg + 360:
            raise InputError(
                "to_deg",
                f"given {self.to_deg:g}, allowed is above from_deg = {self.from_deg:g} and at most 360 degrees more",
                "swap the two, or add 360 to to_deg",
            )
        return self


class Guard(Around):
    """The wheel's guard: the sheet around it."""

    noun: ClassVar[str] = "a guard"


class GrinderRest(Around):
    """The grinder's own rest."""

    noun: ClassVar[str] = "a rest"


class Wheel(Part):
    """A cylinder, or a belt: its limit, a plane. A belt has no diameter.

    guard and rest: what stands around it and the tool may not touch either; None where the recipe does not say.
    """

    noun: ClassVar[str] = "a wheel"
    kind: Annotated[Literal["wheel", "belt"], Words("kind", "a wheel, or a flat belt")] = "wheel"
    diameter_mm: Annotated[
        float | None,
        Quantity(
            "diameter", "diameter of the wheel in mm", gt=0, le=1e8, usual=(120, 300), span=(80, 300), step=1,
            how="Ruler right across the wheel as it is today: wheels wear, labels do not",
            search=(50, 600), setting="wheel", called="the wheel's diameter",
        ),
    ] = None  # fmt: skip
    width_mm: Annotated[
        float,
        Quantity(
            "width of the face",
            "width of the face in mm",
            gt=0,
            le=1000,
            usual=(20, 60),
            span=(15, 80),
            step=1,
            how="Ruler across the face",
        ),
    ]
    corner_radius_mm: Annotated[
        float,
        Quantity(
            "corner radius", "radius between the face and the sides in mm", ge=0, le=500, usual=(0, 3), span=(0, 8),
            step=0.1, how="Radius gauge at the face's edge; 0 is sharp, worn wheels are round",
        ),
    ] = 1.0  # fmt: skip
    rpm: Annotated[
        float | None,
        Quantity(
            "speed", "speed in turns a minute", gt=0, le=1e6, usual=(900, 3600), span=(200, 4000), step=5,
            how="From the motor's plate (a belt drive: times the ratio of the pulleys)",
        ),
    ] = None  # fmt: skip
    rated_m_s: Annotated[
        float | None,
        Quantity(
            "speed printed on it", "highest speed of the face printed on it, in m/s", gt=0, le=1000, usual=(20, 50),
            span=(10, 80), step=1,
            how="Read it off the wheel. Where only a largest rpm is printed: rpm × 3.1416 × the new wheel's mm / 60000",
        ),
    ] = None  # fmt: skip
    guard: Annotated[Guard | None, Words("guard", "the sheet around the wheel, which nothing may touch")] = None
    rest: Annotated[GrinderRest | None, Words("rest", "the grinder's own rest, which nothing may touch")] = None

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
        at_most_half("corner_radius_mm", self.corner_radius_mm, "width_mm", self.width_mm)
        for name in ("guard", "rest"):
            if self.kind == "belt" and getattr(self, name) is not None:
                raise InputError(
                    name,
                    "is given, not allowed for a belt, which has no centre to see its directions from",
                    f"remove {name}",
                )
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

    @property
    def flat_mm(self) -> float:
        """Half the width of the face without its rounded corners, mm."""
        return self.width_mm / 2 - self.corner_radius_mm

    def build(self) -> WheelSolid:
        """The solid, in the rim frame."""
        from gougeform.machine.solid import WheelSolid

        return WheelSolid(1 / self.radius_mm, self.width_mm / 2, self.corner_radius_mm)


WHEELS = Kinds("wheel", "kind", {"wheel": Wheel, "belt": Wheel}, "wheel")
