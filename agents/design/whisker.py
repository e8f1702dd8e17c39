"""The whisker of a side, as a design's file describes it; SI units once read."""

import math
from collections.abc import Iterator
from typing import Annotated

from pydantic import Field

from agents.handbook.formulae import cantilever_bend
from agents.text.keyed_errors import KeyedError, cross_check
from agents.text.quantities import Quantity
from agents.text.shapes import BaseSpec

Length = Annotated[float, Quantity("m", least=0.0, most=0.5)]
Offset = Annotated[float, Quantity("m", least=-0.3, most=0.3)]
Angle = Annotated[float, Quantity("rad", least=-math.pi, most=math.pi)]


class Whisker(BaseSpec):
    """A feeler wire that closes its side's switch when it is bent."""

    ahead: Offset = Field(0.020, title="root ahead of the axle", description="root ahead of the axle")
    aside: Length = Field(0.015, title="root from the middle", description="root outward from the middle")
    length: Annotated[float, Quantity("m", least=1e-3, most=0.3)] = Field(
        0.050, title="length", description="free length"
    )
    outward: Angle = Field(
        math.radians(35.0), title="direction outward", description="direction, outward from straight ahead"
    )
    height: Length = Field(
        0.015, title="height", description="height above the floor; lower walls are not felt"
    )
    bend_to_close: Annotated[float, Quantity("m", least=0.0, most=0.1)] | None = Field(
        None,
        title="deflection to close",
        description="deflection of the tip that closes the switch; 4 mm if no force is given either",
    )
    force_to_close: Annotated[float, Quantity("N", least=1e-6, most=10.0)] | None = Field(
        None,
        title="force to close",
        description="force at the tip that closes the switch, in place of the deflection",
    )
    wire_diameter: Annotated[float, Quantity("m", least=1e-5, most=5e-3)] = Field(
        0.00025,
        title="wire diameter",
        description="diameter of the wire, which turns a force into a deflection",
    )
    modulus: Annotated[float, Quantity("Pa", least=1e8, most=1e12)] = Field(
        200e9,
        title="elastic modulus",
        description="elastic modulus of the wire; spring steel about 200 GPa (from memory)",
    )

    @cross_check
    def _check_switch(self) -> Iterator[KeyedError]:
        if self.is_given("bend_to_close") and self.is_given("force_to_close"):
            got = "force_to_close beside bend_to_close"
            yield KeyedError(("force_to_close",), got, "only one of the two")
        elif self.closing_bend >= self.length:
            yield KeyedError(
                (),
                f"a switch that closes at {self.closing_bend * 1e3:.3g} mm of bend",
                f"less than the wire's length of {self.length * 1e3:.3g} mm",
            )

    @property
    def closing_bend(self) -> float:
        """Deflection of the tip [m] that closes the switch."""
        if self.force_to_close is None:
            return 0.004 if self.bend_to_close is None else self.bend_to_close
        return cantilever_bend(self.force_to_close, self.length, self.wire_diameter, self.modulus)
