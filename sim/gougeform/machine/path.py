"""The path of a grind as a person gives it, and what every kind of path must say of itself."""

from __future__ import annotations

from abc import abstractmethod
from typing import TYPE_CHECKING, ClassVar

from gougeform.part import Part

if TYPE_CHECKING:
    from gougeform.bar.section import Section
    from gougeform.machine.edgeoutline import EdgeOutline
    from gougeform.machine.rig import Rig
    from gougeform.machine.solid import WheelSolid
    from gougeform.machine.sweep import Sweep


class Path(Part):
    """What every kind of path must say; see `gougeform.machine.paths`.

    rank: where it stands in lists, small first. words: how the tool moves, for a choice. holds: whether the jig must
    hold a setting while the bar rolls. extent: the field that says how far it goes, and shorter: how to ask for less.
    """

    tag: ClassVar[str] = "path"
    rank: ClassVar[int] = 50
    words: ClassVar[str]
    holds: ClassVar[bool] = False
    extent: ClassVar[str]
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

    @property
    def contact(self) -> float:
        """Place of the contact across the wheel's face at the nose, 0 the middle, mm."""
        return 0.0
