"""The bar: a prism of steel, and what every kind of outline must say of itself."""

from __future__ import annotations

from abc import abstractmethod
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, ClassVar, Self

from pydantic import Field

from gougeform.bar.sizes import scaled
from gougeform.part import Part
from gougeform.quantity import Quantity, Words
from gougeform.read.complaints import validated
from gougeform.read.library import find
from gougeform.read.toml import read_toml

if TYPE_CHECKING:
    from gougeform.bar.marks import Mark
    from gougeform.bar.outline import Outline
    from gougeform.bar.section import Section


class Steel(Part):
    """What a bar is made of."""

    noun: ClassVar[str] = "a steel"
    name: Annotated[str, Words("steel", "what the steel is called")] = Field("", max_length=200)
    young_gpa: Annotated[
        float,
        Quantity("stiffness", "Young's modulus of the steel in GPa", gt=0, le=1000, usual=(190, 235), step=1),
    ]
    density_g_cm3: Annotated[
        float, Quantity("density", "density of the steel in g/cm³", gt=0, le=25, usual=(7.5, 8.8), step=0.01)
    ]
    poisson: Annotated[
        float, Quantity("Poisson's ratio", "Poisson's ratio of the steel", gt=0, lt=0.5, usual=(0.27, 0.31), step=0.01)
    ] = 0.29


USUAL_STEEL = "hss"
"""The library's steel that is taken where a bar names none."""


def usual_steel() -> Steel:
    """The steel of a bar that names none, from the library. Raises InputError where that file cannot be read."""
    path = find("steels", USUAL_STEEL) or Path(f"{USUAL_STEEL}.toml")
    table: dict[str, Any] = {"name": USUAL_STEEL} | read_toml(path)
    table.pop("title", None)
    return validated(Steel, table, "bar.steel")


class Bar(Part):
    """What every kind of bar has, and what its outline must say; see `gougeform.bar.outlines`.

    rank: where it stands in lists, small first. rolls: whether it rolls evenly on a flat table.
    shear: numbers (a, b, c, d) of Cowper's coefficient (a + b ν) / (c + d ν) for its solid section.
    """

    tag: ClassVar[str] = "outline"
    rank: ClassVar[int] = 50
    rolls: ClassVar[bool] = False
    shear: ClassVar[tuple[float, float, float, float]] = (6, 6, 7, 6)
    length_mm: Annotated[
        float,
        Quantity(
            "length of the bar", "length of steel ahead of the ferrule, in mm", gt=0, le=3000,
            usual=(80, 300), span=(80, 300), step=1, how="Ruler along the bar, ferrule to nose",
        ),
    ]  # fmt: skip
    steel: Annotated[
        Steel,
        Words("steel", "of what steel: hss, powder or carbon. Weight and stiffness hang on it, the edge does not"),
    ] = Field(default_factory=usual_steel)
    outline: str

    @abstractmethod
    def build(self) -> Outline:
        """The outline about the bar axis, mm. Raises InputError where it is none."""

    def scaled(self, share: float) -> Self:
        """The same bar with a section `share` times as large; it stays as long. Raises InputError beyond the limits."""
        return scaled(self, share, "bar")

    @property
    def coarse_mm(self) -> float:
        """How far the outline may be off between the readings it was made from; 0 where there are none."""
        return 0.0

    @abstractmethod
    def marks(self, section: Section) -> list[Mark]:
        """What to measure of it, seen from the bar's end."""

    @property
    @abstractmethod
    def words(self) -> str:
        """What the bar is, with its size, for a card: "round bar Ø10 mm"."""

    @property
    @abstractmethod
    def short(self) -> str:
        """The same in two words for a narrow table: "round 10"."""
