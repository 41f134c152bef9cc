"""The path of a grind as a person gives it, and what every kind of path must say of itself."""

from __future__ import annotations

from abc import abstractmethod
from collections.abc import Mapping
from typing import TYPE_CHECKING, ClassVar, Self

from gougeform.part import Part, Table

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from gougeform.bar.section import Section
    from gougeform.machine.edgeoutline import EdgeOutline
    from gougeform.machine.rig import Rig
    from gougeform.machine.solid import WheelSolid
    from gougeform.machine.sweep import Sweep


class Path(Part):
    """What every kind of path must say; see `gougeform.machine.paths`.

    rank: where it stands in lists, small first. words: how the tool moves, for a choice. holds: whether the jig must
    hold a setting while the bar rolls. outlined: whether the edge it leaves is asked for, so that `outline` gives one.
    extent: the field that says how far it goes, usual_extent: what it is where nothing is said, and shorter: how to ask
    for less. suits: the flute of a first recipe. remark: what a person should know who fills in a first recipe.
    """

    tag: ClassVar[str] = "path"
    rank: ClassVar[int] = 50
    words: ClassVar[str]
    holds: ClassVar[bool] = False
    outlined: ClassVar[bool] = False
    extent: ClassVar[str]
    usual_extent: ClassVar[float]
    suits: ClassVar[str] = "arc"
    remark: ClassVar[str]
    shorter: ClassVar[str]
    path: str

    @abstractmethod
    def sweep(self, section: Section, rig: Rig, wheel: WheelSolid) -> Sweep:
        """The continuous family of poses with this jig at this wheel.

        Raises InputError where a place of it has no pose.
        """

    def outline(self, section: Section) -> EdgeOutline | None:
        """The edge that is asked for; None where the path asks for none and leaves what it leaves."""
        return None

    @classmethod
    def first(cls, extent: float, more: Mapping[str, float]) -> Table:
        """Fields of a first recipe to be filled in. extent: of a wing that suits the bar, mm; more: what the jig adds.

        A path whose extent is no wing length takes its own.
        """
        return {cls.tag: cls.model_fields[cls.tag].default, cls.extent: cls.usual_extent}

    @abstractmethod
    def step(self, nose: float, wing: float) -> tuple[str, str, str]:
        """What to do at the wheel, how far, and a line of help; nose (deg) and wing length (mm) as measured."""

    @classmethod
    def like(cls, section: Section, wing: NDArray[np.float64], length: float) -> tuple[Table, float]:
        """Fields of a path whose outline lies nearest to a right wing (3, n) seen from above, and how far off at most.

        length: of the wing behind the nose; all mm. Raises NotImplementedError where the path asks for no outline.
        """
        raise NotImplementedError(f"{cls.noun} asks for no outline")

    def in_the_middle(self) -> Self:
        """The same path with its contact in the middle of the wheel's face."""
        return self

    @property
    def asked_mm(self) -> float:
        """How far behind the nose the edge reaches that is asked for, mm; 0 where none is."""
        return 0.0

    @property
    def contact(self) -> float:
        """Place of the contact across the wheel's face at the nose, 0 the middle, mm."""
        return 0.0
