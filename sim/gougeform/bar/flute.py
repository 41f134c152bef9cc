"""The flute along the top of the bar, and what every kind of flute must say of itself."""

from __future__ import annotations

from abc import abstractmethod
from typing import TYPE_CHECKING, Annotated, Any, ClassVar, NamedTuple, Self

from gougeform.bar.sizes import scaled
from gougeform.part import Part, Points
from gougeform.quantity import Quantity

if TYPE_CHECKING:
    from gougeform.bar.curves import HalfCurve
    from gougeform.bar.marks import Mark
    from gougeform.bar.section import Section

WEB = Quantity(
    "web under the flute", "steel from the floor straight down to the underside, in mm", gt=0, le=200,
    usual=(2, 12), span=(2, 12), step=0.1,
    how="At a square-cut end, calliper tip on the floor and jaw on the underside",
)  # fmt: skip
FLOOR_RADIUS = Quantity(
    "radius at the floor", "radius of the flute at its floor in mm", gt=0, le=1000, usual=(0.5, 6), span=(0.5, 12),
    step=0.1, how="Half the thickness of the thickest drill that still lies on the floor",
)  # fmt: skip


class Shares(NamedTuple):
    """Usual measures of a flute as shares of the bar's size: width at the lips on a round bar and a square one, web,
    and radius at the floor where that is chosen.
    """

    on_round: float
    on_square: float
    web: float
    floor: float = 0.0


class Flute(Part):
    """What every kind of flute has, and what its curve must say; see `gougeform.bar.flutes`.

    rank: where it stands in lists, small first. words: its shape as an adjective, for a card. shares: usual measures.
    by_width: fields that a calliper from lip to lip decides, once web and floor radius are known. wing_share: of the
    bar's size, the usual length of a traced wing.
    """

    tag: ClassVar[str] = "shape"
    rank: ClassVar[int] = 50
    words: ClassVar[str]
    shares: ClassVar[Shares]
    by_width: ClassVar[tuple[str, ...]] = ()
    wing_share: ClassVar[float] = 1.0
    length_mm: Annotated[
        float,
        Quantity(
            "full-depth length", "full-depth length of the flute in mm", gt=0, le=3000, usual=(30, 150),
            span=(20, 150), step=1, how="Ruler from the nose to where the flute begins to get shallower",
        ),
    ]  # fmt: skip
    run_out_mm: Annotated[
        float | None,
        Quantity(
            "run-out", "length in mm over which the flute runs out behind", gt=0, le=3000, span=(1, 60), step=1,
            how="Ruler from where the flute begins to get shallower to where it ends",
        ),
    ] = None  # fmt: skip
    web_mm: Annotated[float | None, WEB]
    shape: str

    @abstractmethod
    def curve(self, size: float) -> HalfCurve:
        """The right half of the curve, its floor at (0, 0), mm; size: the bar's, which it must reach across.

        Raises InputError where the fields make no curve.
        """

    def scaled(self, share: float) -> Self:
        """The same flute `share` times as wide and deep; it stays as long. Raises InputError beyond the limits."""
        return scaled(self, share, "flute")

    @classmethod
    @abstractmethod
    def through(cls, width: float, depth: float, floor_radius: float) -> dict[str, Any]:
        """The fields of one that is `width` wide and `depth` deep at its lips, mm.

        floor_radius: mm, for shapes that have it to choose. Raises InputError where there is none.
        """

    @property
    def chosen_floor_mm(self) -> float:
        """The radius at the floor where it is chosen beside width and depth, as `through` takes it; else 0."""
        return 0.0

    def marks(self, section: Section) -> list[Mark]:
        """What to measure of it, seen from the bar's end."""
        return []

    @property
    def read(self) -> Points:
        """The points (x, y) in mm that were read off a real one; none where it follows from a few numbers."""
        return ()

    @property
    def floor_mm(self) -> float | None:
        """Height of the floor over the bar axis where the fields say it; None where it follows from the web."""
        return None


class CurvedFlute(Flute):
    """A flute given by its form and the web under it."""

    web_mm: Annotated[float, WEB]
