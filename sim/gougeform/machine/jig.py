"""The jig: how the tool is held at the wheel, and what every kind of jig must say of itself."""

from __future__ import annotations

from abc import abstractmethod
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Annotated, Any, ClassVar, Literal, Self

from pydantic import model_validator

from gougeform.errors import InputError
from gougeform.machine.clamp import DATUMS, PIN
from gougeform.part import Part, Table
from gougeform.quantity import Quantity, Words
from gougeform.read.complaints import allowed

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from gougeform.bar.marks import Mark
    from gougeform.bar.section import Section
    from gougeform.machine.bodies import Obstacle
    from gougeform.machine.rig import Pivot, Rig
    from gougeform.machine.solid import WheelSolid

DISTANCES = ("nose_angle_deg", "centre_distance_mm", "rim_distance_mm")
"""The three ways to say how far a jig stands from the wheel; exactly one is given."""

PROJECTION = Quantity(
    "projection", "how far the nose stands ahead of the clamp face in mm", gt=0, le=1000, usual=(40, 120),
    span=(30, 120), step=0.5, how="Ruler along the bar, clamp's front face to nose",
    search=(30, 130), setting="projection", called="the projection",
    ways=("longer", "shorter"), by_hand=True,
)  # fmt: skip
NOSE_ANGLE = Quantity(
    "nose angle", "the nose angle the distance follows from, in degrees", ge=1, le=179, usual=(25, 70), span=(20, 80),
    step=0.1, how="The angle of steel you want at the nose: smaller is sharper",
)  # fmt: skip
RIM_DISTANCE = Quantity(
    "rim to pocket", "wheel's rim to the pocket or rod, in mm", gt=0, le=1e8, usual=(10, 400), span=(10, 400), step=0.1,
    how="Straight, wheel's face to the bottom of the pocket or the rod's middle",
    search=(1, 600), setting="distance", called="the distance from rim to pivot",
    ways=("farther", "nearer"), by_hand=True,
)  # fmt: skip
CENTRE_DISTANCE = Quantity(
    "centre to pocket", "wheel's centre to the pocket or rod, in mm", gt=0, le=1e8, usual=(100, 600), span=(60, 600),
    step=0.1, how="Straight, middle of the spindle to the same place",
)  # fmt: skip
CANT = Quantity(
    "cant", "cant", gt=-90, lt=90, span=(-10, 80), step=0.5, search=(-10, 80), setting="cant", called="the cant",
    by_hand=True,
)  # fmt: skip


@dataclass(frozen=True)
class Setting:
    """How the machine is set for one grind; lengths in mm, angles in rad. None where it has no meaning.

    centre_distance: wheel's centre to pocket or rod centre (no table, no belt). rim_distance: from the rim.
    contact: where on the wheel the nose is ground, above the horizontal, on the person's side (no table).
    pivot_angle: direction of the pocket or rod from the wheel's centre, measured the same way.
    """

    centre_distance: float | None = None
    rim_distance: float | None = None
    contact: float | None = None
    pivot_angle: float | None = None


@dataclass(frozen=True)
class Step:
    """One thing to set: what, the value to read off, and a line of help. drawn: the name of its place in drawings."""

    what: str
    value: str
    help: str = ""
    drawn: str = ""


@dataclass(frozen=True, eq=False)
class Drawn:
    """What of a jig is drawn in the tool's middle plane; places are (2,): y up from the bar axis, z along it, mm.

    body: (n, 2) outline of the clamp, or of the table under the bar. face: where the projection ends. hinge: where the
    arm begins that ends in the pivot, None where nothing is hinged. axis: the hinge's direction, where it has one.
    """

    body: NDArray[np.float64]
    face: NDArray[np.float64]
    hinge: NDArray[np.float64] | None = None
    axis: NDArray[np.float64] | None = None


@dataclass(frozen=True)
class Readings:
    """What a hand can read on a jig although a recipe has no field for it, all of it together, in mm.

    how: each reading's name, and how it is taken. fields: those that follow from them. problem: what is wrong where one
    is missing, a clause. counts: that nothing but these decides the edge, a clause.
    """

    how: Mapping[str, str]
    fields: tuple[str, ...]
    problem: str
    counts: str


class Jig(Part):
    """What every kind of jig has, and what it must say; see `gougeform.machine.jigs`.

    rank: where it stands in lists, small first. pivot_noun: what it turns about ("pocket"), "" where that is no fixed
    place. dial: the plain name of the setting that makes the nose angle. clamps: whether a clamp holds the bar behind
    the projection. loose: why it can hold no setting while the bar rolls, for a sentence; "" where it can. set_by: what
    it is set by, where that is no distance. worn: what is to do as the wheel wears, where that is so.

    For a first recipe: usual_path is how the tool is moved where nothing is said, readings see there, fit the length
    that is calibrated first, edge the wing as a share of the bar ("wing") and fields of its path.
    """

    tag: ClassVar[str] = "kind"
    rank: ClassVar[int] = 50
    pivot_noun: ClassVar[str] = ""
    clamps: ClassVar[bool] = True
    loose: ClassVar[str] = ""
    set_by: ClassVar[str] = ""
    dial: ClassVar[str] = "tilt"
    worn: ClassVar[str] = "Set it anew when the wheel has worn. The nose angle is set, not the distance."
    usual_path: ClassVar[str] = "traced"
    readings: ClassVar[Readings | None] = None
    fit: ClassVar[str] = ""
    edge: ClassVar[Mapping[str, float]] = {}
    projection_mm: Annotated[float, PROJECTION]
    nose_angle_deg: Annotated[float | None, NOSE_ANGLE] = None
    kind: str

    @abstractmethod
    def set_up(self, section: Section, wheel: WheelSolid, contact: float = 0.0) -> Rig:
        """The jig set up for this bar and wheel; contact: place across the wheel's face, mm.

        Raises InputError where the nose cannot touch the wheel.
        """

    @abstractmethod
    def steps(self) -> list[Step]:
        """How it is set, in the order a person does it, but for how far it stands from the wheel."""

    @abstractmethod
    def drawn(self, section: Section) -> Drawn:
        """What of it is drawn beside the tool."""

    @abstractmethod
    def marks(self, section: Section) -> list[Mark]:
        """Where its fields are measured in the tool's middle plane, as `Drawn` has it."""

    @classmethod
    @abstractmethod
    def first(cls, clamp: str, *, rolls: bool, belt: bool) -> Table:
        """Fields of a first recipe to be filled in, in the order in which they are measured; usual measures.

        clamp: what the bar is held against, "" on a jig that clamps none. rolls: whether the path rolls at one setting.
        belt: whether it is ground on one, a plane, which has no place higher up that would be another.
        """

    def remark(self) -> str:
        """What a person who measures this jig should know, for a recipe that is being filled in; "" for nothing."""
        return ""

    @classmethod
    def from_readings(cls, table: Table, read: Mapping[str, float]) -> Table:
        """The fields that follow from all of `readings`, with the rest of the jig's table. Raises InputError."""
        return {}

    def pivot(self, section: Section) -> Pivot | None:
        """The line from pocket or rod to the nose; None where the jig turns about no fixed place."""
        return None

    @property
    def pivot_thick_mm(self) -> float:
        """How far what it turns about reaches toward the wheel from its middle; the middle stays off the rim so far."""
        return 0.0

    @property
    def level_mm(self) -> float | None:
        """How high the pivot stands over the wheel's centre; None where it turns about no fixed place."""
        return None

    @property
    def rim_mm(self) -> float | None:
        """The distance from rim to pivot where that is what is given."""
        return None

    @property
    def held(self) -> str:
        """What the bar is held against, by its short name; "" on a jig that clamps none."""
        return ""

    @property
    def holds(self) -> tuple[str, ...]:
        """Every way it could hold the bar without another measure, by short names."""
        return ()

    def standing(self, section: Section, wheel: WheelSolid, contact: float = 0.0) -> Self:
        """The same jig with how far it stands given as the distance from the rim, if it stands at any.

        Raises InputError as `set_up` does.
        """
        return self

    @classmethod
    def turned(cls) -> dict[str, str]:
        """Fields by the plain name of the setting that each is."""
        return {q.setting: name for name, q in cls.quantities().items() if q.setting}

    @classmethod
    def hidden(cls) -> tuple[str, ...]:
        """Settings that are measures of the jig, hard to take, by plain name: calibration can fit them."""
        return tuple(name for name in cls.turned() if name not in ("projection", cls.dial))

    def bodies(self, section: Section, rig: Rig) -> tuple[Obstacle, ...]:
        """What of it may not touch the wheel."""
        return ()

    def shown(self, section: Section, rig: Rig) -> tuple[Obstacle, ...]:
        """What of it is drawn at the wheel: what may not touch it, and what a kind has besides."""
        return self.bodies(section, rig)

    def across(self, contact: float) -> float:
        """How far the contact lies from the pivot's plane along the wheel's axis, mm; 0 where it slides along."""
        return 0.0

    def setting(self, rig: Rig, wheel: WheelSolid, contact: float) -> Setting:
        """How the machine is set with it. Raises InputError for a height that does not fit."""
        return Setting()

    @property
    def distance(self) -> str:
        """Which of DISTANCES it is set by; "" where none is given."""
        return next((name for name in DISTANCES if getattr(self, name, None) is not None), "")

    @classmethod
    def without_distance(cls, where: str) -> InputError:
        """The error of one that does not say how far it stands from the wheel; `where` is its dotted place."""
        ways = [name for name in DISTANCES if name in cls.model_fields]
        if len(ways) > 1:
            problem = f"no distance is given, allowed is exactly one of {', '.join(ways)}"
            return InputError(f"{where}.{ways[0]}", problem, "add one of them")
        (only,) = ways
        problem = f"is missing, allowed is {allowed(cls, only)}"
        return InputError(f"{where}.{only}", problem, f"add {only}: {cls.meaning(only).description}")


class ClampedJig(Jig):
    """A jig whose clamp is hinged to something that stands at a distance from the wheel.

    hinge_words: what stands under the clamp's step: how hinge and bar lie to each other.
    """

    dial: ClassVar[str] = "distance"
    hinge_back_mm: Annotated[
        float,
        Quantity(
            "hinge behind clamp", "how far the hinge lies behind the clamp face, in mm", ge=0, le=1000, usual=(0, 60),
            span=(0, 60), step=0.5, how=f"Along the bar, clamp's front face back {PIN}",
            search=(0, 80), setting="hinge_back", called="how far back the hinge lies",
        ),
    ]  # fmt: skip
    hinge_drop_mm: Annotated[
        float,
        Quantity(
            "hinge below the bar", "how far the hinge lies below what the bar is held against, in mm", ge=-200, le=1000,
            usual=(-30, 60), span=(-30, 60), step=0.5,
            search=(-30, 60), setting="hinge_drop", called="how far down the hinge lies",
        ),
    ]  # fmt: skip
    clamp: Annotated[
        Literal["axis", "below", "above", "vee"],
        Words("bar held against", "what the bar is held against", "Which part of the clamp the bar is pressed to"),
    ] = "axis"
    vee_deg: Annotated[
        float | None,
        Quantity(
            "opening of the V",
            "opening of the clamp's V in degrees",
            gt=0,
            lt=180,
            usual=(60, 120),
            span=(60, 150),
            step=1,
            how="Protractor across the V's two walls",
        ),
    ] = None
    clamp_size_mm: Annotated[
        tuple[float, float, float],
        Quantity(
            "size of the clamp",
            "size of the clamp behind its face in mm, [across, high, along the bar]",
            gt=0,
            le=500,
            usual=(15, 80),
            step=1,
            how="Ruler across, up and along the clamp",
        ),
    ] = (32.0, 32.0, 40.0)
    height_mm: Annotated[
        float,
        Quantity(
            "pivot above centre", "height of the pocket or rod over the wheel's centre, in mm", ge=-1e4, le=1e4,
            usual=(-250, 200), span=(-250, 200), step=1,
            how="Pocket's or rod's height from the floor less the spindle's. Only moves the place on the wheel",
        ),
    ] = 0.0  # fmt: skip
    centre_distance_mm: Annotated[float | None, CENTRE_DISTANCE] = None
    rim_distance_mm: Annotated[float | None, RIM_DISTANCE] = None

    @model_validator(mode="after")
    def _settings_fit(self) -> ClampedJig:
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
        if len(given) > 1:
            raise InputError(
                given[1],
                f"{' and '.join(given)} are given, allowed is exactly one of {', '.join(DISTANCES)}",
                "keep one of them and remove the others",
            )
        return self

    @property
    def level_mm(self) -> float:
        """As `Jig` says."""
        return self.height_mm

    @property
    def rim_mm(self) -> float | None:
        """As `Jig` says."""
        return self.rim_distance_mm

    @property
    def held(self) -> str:
        """As `Jig` says."""
        return self.clamp

    @property
    def holds(self) -> tuple[str, ...]:
        """As `Jig` says: a V only where its opening is known."""
        return tuple(name for name in DATUMS if name != "vee" or self.vee_deg is not None)

    def standing(self, section: Section, wheel: WheelSolid, contact: float = 0.0) -> Self:
        """As `Jig` says."""
        rim = self.at_rim(section, wheel, contact)
        return self.model_copy(update=dict.fromkeys(DISTANCES) | {"rim_distance_mm": rim})

    @property
    def hinge_words(self) -> str:
        """Where the hinge lies, for a line of help."""
        held = DATUMS[self.clamp].noun.format(vee=self.vee_deg or 0.0)
        return f"hinge {self.hinge_back_mm:g} behind the clamp face, {self.hinge_drop_mm:g} below {held}"

    def steps(self) -> list[Step]:
        """As `Jig` says: the clamp's step, to which a kind adds its own."""
        help_ = "projection: nose to clamp face"
        return [Step("Clamp the bar, flute up", f"{self.projection_mm:g} mm", help_, "projection")]

    def drawn(self, section: Section) -> Drawn:
        """As `Jig` says: the clamp."""
        import numpy as np

        top, low, p = section.lip_plane, section.underside, -self.projection_mm
        back = p - max(1.6 * self.hinge_back_mm, 16.0)
        box = np.array([[low - 4, p], [top + 4, p], [top + 4, back], [low - 4, back]])
        return Drawn(box, np.array([top + 4, p]), np.array([-self.drop(section), p - self.hinge_back_mm]))

    def marks(self, section: Section) -> list[Mark]:
        """As `Jig` says: the clamp's, to which a kind adds its own."""
        from gougeform.bar.marks import length

        top, p = section.lip_plane, self.projection_mm
        y, z = -self.drop(section), -(p + self.hinge_back_mm)
        words = f"{DATUMS[self.clamp].called}, down to the pin"
        return [
            length("jig.projection_mm", "projection, clamp's face to nose", [top, 0], [top, -p]),
            length("jig.hinge_back_mm", "face back to the pin", [top, -p], [top, z]),
            length("jig.hinge_drop_mm", words, [y + self.hinge_drop_mm, z], [y, z]),
        ]

    @classmethod
    def first(cls, clamp: str, *, rolls: bool, belt: bool) -> Table:
        """As `Jig` says: the clamp's fields, to which a kind adds its own."""
        # Rolled about its own axis the bar lies where the hinge is.
        drop = DATUMS[clamp].usual_drop - (DATUMS["axis"].usual_drop if rolls else 0.0)
        vee = {"vee_deg": 90.0} if clamp == "vee" else {}
        kind: dict[str, Any] = {"kind": cls.model_fields["kind"].default}
        return kind | {"clamp": clamp, **vee, "projection_mm": 65.0, "hinge_back_mm": 15.0, "hinge_drop_mm": drop}

    def drop(self, section: Section) -> float:
        """How far the hinge lies below the bar axis, mm, from what the bar is held against."""
        return self.hinge_drop_mm - DATUMS[self.clamp].height(section, self.vee_deg or 0.0)

    @abstractmethod
    def pivot(self, section: Section) -> Pivot:
        """As `Jig` says."""

    def bodies(self, section: Section, rig: Rig) -> tuple[Obstacle, ...]:
        """The clamp: a box about the bar axis that begins behind its face."""
        import numpy as np

        from gougeform.machine.bodies import Box, Obstacle

        half = np.array(self.clamp_size_mm) / 2
        return (Obstacle("the clamp", Box(np.array([0.0, 0.0, -self.projection_mm - half[2]]), half)),)

    def at_rim(self, section: Section, wheel: WheelSolid, contact: float = 0.0) -> float:
        """The rim distance (mm) it is set to, given or from the nose angle; contact as in `set_up`.

        Raises InputError where no distance is given, the nose cannot touch the wheel, or the pivot lies inside it.
        """
        import numpy as np

        pivot, k, across = self.pivot(section), wheel.curvature, self.across(contact)
        if self.rim_distance_mm is not None:
            name, given, rim = "rim_distance_mm", self.rim_distance_mm, self.rim_distance_mm
        elif self.centre_distance_mm is not None:
            name, given = "centre_distance_mm", self.centre_distance_mm
            if k == 0:
                raise InputError(
                    "jig.centre_distance_mm",
                    "a belt has no centre to measure from",
                    "give rim_distance_mm instead",
                )
            rim = given - 1 / k
        elif self.nose_angle_deg is not None:
            name, given = "nose_angle_deg", self.nose_angle_deg
            rim = pivot.rim_distance(float(np.radians(given)), k, across)
        else:
            raise self.without_distance("jig")
        if not (rim > self.pivot_thick_mm):
            raise InputError(
                f"jig.{name}",
                f"given {given:g}: the {self.pivot_noun} would lie inside the wheel",
                "blunter nose angle or larger distance, a longer projection, or a smaller wheel",
            )
        if not np.isfinite(pivot.nose_angle(rim, k, across)):
            raise InputError(
                f"jig.{name}",
                f"given {given:g}: rim to pivot is {rim:.1f} mm, but pivot to nose is only {pivot.length:.1f} mm",
                "a smaller distance, or a longer projection",
            )
        return rim

    def setting(self, rig: Rig, wheel: WheelSolid, contact: float) -> Setting:
        """As `Jig` says. Raises InputError for a height beyond the pivot's distance."""
        import numpy as np

        assert rig.pivot is not None
        assert rig.rim is not None
        k, rim = wheel.curvature, rig.rim
        sine = self.height_mm * k / (1 + k * rim)
        if abs(sine) > 1:
            raise InputError(
                "jig.height_mm",
                f"given {self.height_mm:g}: pocket or rod is only {rim + 1 / k:.1f} mm from the wheel's centre",
                "a height within that distance",
            )
        # The nose's place on the wheel as seen from the pivot's direction, from the triangle centre, pivot, nose.
        r2 = rig.pivot.length**2 - self.across(contact) ** 2
        x = -k * (r2 - rim * rim) / (2 * (1 + k * rim))
        z = np.sqrt(r2 - (x - rim) ** 2)
        pivot_angle = float(np.arcsin(sine))
        return Setting(
            centre_distance=None if k == 0 else rim + 1 / k,
            rim_distance=rim,
            contact=pivot_angle + float(np.arctan2(k * z, 1 + k * x)),
            pivot_angle=pivot_angle,
        )


def called(quantity: Quantity, label: str, description: str = "", how: str = "", **more: object) -> Quantity:
    """A quantity that several jigs share, as one of them calls it."""
    return replace(
        quantity,
        label=label,
        description=description or quantity.description,
        how=how or quantity.how,
        **more,  # type: ignore[arg-type]
    )
