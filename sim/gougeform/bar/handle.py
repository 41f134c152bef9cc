"""What follows behind the steel: ferrule and handle."""

from __future__ import annotations

from typing import Annotated, ClassVar

from pydantic import model_validator

from gougeform.errors import InputError
from gougeform.part import Part
from gougeform.quantity import Quantity


class Handle(Part):
    """What follows behind the steel, and where hands and rest are; every field has a usual value."""

    noun: ClassVar[str] = "a handle"
    ferrule_diameter_mm: Annotated[
        float,
        Quantity(
            "ferrule diameter",
            "diameter of the ferrule in mm",
            gt=0,
            le=200,
            usual=(15, 30),
            step=0.5,
            how="Calliper across the ferrule",
        ),
    ] = 22.0
    ferrule_length_mm: Annotated[
        float,
        Quantity(
            "ferrule length",
            "length of the ferrule in mm",
            gt=0,
            le=500,
            usual=(15, 40),
            step=1,
            how="Ruler along the ferrule",
        ),
    ] = 25.0
    handle_diameter_mm: Annotated[
        float,
        Quantity(
            "handle diameter",
            "largest diameter of the handle in mm",
            gt=0,
            le=200,
            usual=(25, 45),
            step=1,
            how="Calliper across the handle at its thickest",
        ),
    ] = 30.0
    handle_length_mm: Annotated[
        float,
        Quantity(
            "handle length",
            "length of the handle behind the ferrule in mm",
            gt=0,
            le=3000,
            usual=(150, 600),
            step=1,
            how="Ruler from the back of the ferrule to the end of the handle",
        ),
    ] = 275.0
    tang_mm: Annotated[
        float,
        Quantity(
            "tang",
            "length of the bar inside ferrule and handle, in mm",
            ge=0,
            le=3000,
            usual=(30, 100),
            step=1,
            how="The bar's whole length less what stands ahead of the ferrule",
        ),
    ] = 45.0
    hand_mm: Annotated[
        float,
        Quantity(
            "rear hand",
            "middle of the rear hand behind the front of the ferrule, in mm",
            gt=0,
            le=3000,
            usual=(100, 500),
            step=1,
            how="Ruler from the front of the ferrule to the middle of your rear hand",
        ),
    ] = 220.0
    young_gpa: Annotated[
        float,
        Quantity("stiffness", "Young's modulus of the handle along it, in GPa", gt=0, le=1000, usual=(8, 16), step=0.5),
    ] = 12.0
    density_g_cm3: Annotated[
        float, Quantity("density", "density of the handle in g/cm³", gt=0, le=25, usual=(0.5, 1.0), step=0.05)
    ] = 0.7

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
