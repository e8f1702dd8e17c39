"""The parts of a design, as its file describes them; SI units once read.

Every default is a starting value, invented or from general knowledge, that a measurement on the bench
replaces; values are those at 25 degC. Every field's description is its entry in the reference.
"""

import math
from collections.abc import Iterator
from contextlib import suppress
from itertools import pairwise
from typing import Annotated

from pydantic import Field

from agents.design.panel_readings import SOLVED, PanelReading, ReadingFit, fit_of, solve_readings
from agents.design.whisker import Angle, Length, Offset, Whisker
from agents.handbook.light_kinds import RESPONSES
from agents.handbook.temperature import MAGNETS
from agents.text.keyed_errors import KeyedError, KeyedErrors, UnreadError, cross_check
from agents.text.quantities import Fraction, Number, Pair, Points, Quantity
from agents.text.readers import OrNone, Word
from agents.text.shapes import BaseSpec

# Pairs of a bench table at the most; the records have as many places.
MOST_TABLE_ROWS = 16
# Corners of a body at the most.
MOST_CORNERS = 8

Resistance = Annotated[float, Quantity("ohm", least=10.0, most=100e6)]
Voltage = Annotated[float, Quantity("V", least=0.1, most=20.0)]
KneeCurrent = Annotated[float, Quantity("A", least=1e-4, most=100.0)]
# Output admittances of 10 to 60 uS at 1 mA, PNPs above NPNs, as data sheets of small types have them (from
# memory), are Early voltages of 100 to 17 V.
EarlyVoltage = Annotated[float, Quantity("V", least=5.0, most=1e6)]


class Panel(BaseSpec):
    """The solar panel; lies flat on top and faces up.

    Its ``label``, if there is one, gives the values of the diode. A value that is given beside it takes the
    place of its own, and leaves the others as they are.
    """

    label: tuple[PanelReading, ...] = Field(
        (),
        title="label",
        description="what label or meter say of it in known light, in place of the values of the diode below",
    )
    cells: Annotated[int, Number(whole=True, least=1, most=100)] | None = Field(
        None,
        title="cells",
        description="cells in series; needed for a label in one light without a best point",
    )

    current_per_light: Annotated[float, Quantity("A/lx", least=1e-10, most=1e-4)] = Field(
        40e-9, title="photocurrent per lux", description="photocurrent per lux of sun"
    )
    light_exponent: Annotated[float, Number(least=0.3, most=1.5)] = Field(
        1.0,
        title="exponent of light",
        description="power of the light with which the photocurrent grows; below 1 for cells that gain less "
        "than the light does",
    )
    measured_light: Annotated[float, Quantity("lx", least=1.0, most=1e6)] = Field(
        1e3,
        title="light of that measurement",
        description="light in which the photocurrent per lux was measured; tells nothing while the exponent "
        "is 1",
    )
    response: Annotated[str, Word(tuple(RESPONSES))] = Field(
        "crystalline-silicon",
        title="spectral response",
        description="spectral response: how it takes other kinds of light than sun",
    )
    saturation_current: Annotated[float, Quantity("A", least=1e-18, most=1e-3)] = Field(
        0.59e-12, title="saturation current", description="saturation current of the single-diode equation"
    )
    junction_voltage: Annotated[float, Quantity("V", least=0.02, most=2.0)] = Field(
        0.19,
        title="n N V_T",
        description="n N V_T of the single-diode equation: ideality, cells in series, thermal voltage",
    )
    series_resistance: Annotated[float, Quantity("ohm", least=0.0, most=1e5)] = Field(
        10.0, title="series resistance", description="series resistance of the single-diode equation"
    )
    shunt_resistance: Annotated[float, Quantity("ohm", least=10.0, most=1e12)] = Field(
        10e6, title="shunt resistance", description="shunt resistance of the single-diode equation"
    )
    heat_loss: Annotated[float, Quantity("W/m2K", least=5.0, most=1e6)] = Field(
        40.0,
        title="loss of heat",
        description="heat that it loses to the air: Faiman's 25 W/m2K, and 7 more for a metre a second of "
        "wind; 1 MW/m2K keeps it as cool as the air",
    )
    ahead: Offset = Field(
        0.0, title="place ahead of the axle", description="middle of the panel ahead of the axle"
    )
    height: Length = Field(0.03, title="height", description="height of the panel above the floor")
    length: Annotated[float, Quantity("m", least=1e-3, most=0.5)] = Field(
        0.024, title="length", description="size along the walker"
    )
    width: Annotated[float, Quantity("m", least=1e-3, most=0.5)] = Field(
        0.033, title="width", description="size across the walker"
    )

    @cross_check
    def _solve_label(self) -> Iterator[KeyedError]:
        """Find the values of the diode that the label gives, or what is wrong with it."""
        if self.label and not self.model_fields_set.issuperset(SOLVED):
            try:
                solved = solve_readings(self.response, self.label, self.cells)
            except KeyedErrors as error:
                yield from error.errors
                return
            # a frozen model sets its own fields by its dict; they do not count as given
            self.__dict__.update({key: solved[key] for key in set(SOLVED) - self.model_fields_set})

    @property
    def fits(self) -> tuple[ReadingFit, ...]:
        """How far the values of the diode are from each reading."""
        return fit_of({key: getattr(self, key) for key in SOLVED}, self.response, self.label)


class Storage(BaseSpec):
    """The storage capacitor that panel and both sides share."""

    capacitance: Annotated[float, Quantity("F", least=1e-6, most=10.0)] = Field(
        2200e-6, title="capacitance", description="capacitance"
    )
    leak: Annotated[float, Quantity("ohm", least=100.0, most=1e12)] = Field(
        1e6, title="leak resistance", description="leak, as a resistance across it"
    )
    series_resistance: Annotated[float, Quantity("ohm", least=0.0, most=1e3)] = Field(
        0.0, title="series resistance", description="equivalent series resistance"
    )
    start: Annotated[float, Quantity("V", least=0.0, most=20.0)] = Field(
        0.0, title="voltage at the start", description="voltage on it when a run starts"
    )


class EyeRow(BaseSpec):
    """One row of a bench table of an eye."""

    light: Annotated[float, Quantity("lx", least=0.0, most=1e6)] = Field(
        title="light", description="light on the bare eye"
    )
    trigger: Voltage = Field(title="trigger voltage", description="voltage at the eye at which it flashes")


class Eye(BaseSpec):
    """The flashing LED: the eye of its side, and what fires the latch."""

    dark_trigger: Voltage = Field(
        2.2, title="trigger voltage in the dark", description="voltage at which it flashes in the dark"
    )
    slope: Annotated[float, Quantity("V/decade", least=0.0, most=5.0)] = Field(
        0.7, title="trigger rise with light", description="rise of that voltage a decade of light"
    )
    knee_light: Annotated[float, Quantity("lx", least=0.1, most=1e6)] = Field(
        150.0, title="knee light", description="light at which the rise sets in"
    )
    table: tuple[EyeRow, ...] = Field(
        (),
        title="bench table",
        description="bench table of light and trigger, in place of the three values above",
    )
    tape: Annotated[float, Fraction(least=1e-4, most=1.0)] = Field(
        1.0, title="tape transmission", description="share of the light that tape or sleeve lets through"
    )
    quiet_current: Annotated[float, Quantity("A", least=1e-9, most=1e-2)] = Field(
        4e-6, title="standby current", description="standby current, which it draws while it waits"
    )
    lit_voltage: Voltage = Field(
        1.7, title="voltage while lit", description="voltage across it while it is lit"
    )
    flash_resistance: Annotated[float, Quantity("ohm", least=1.0, most=1e5)] = Field(
        200.0, title="flash resistance", description="resistance of its lit path into the coupling capacitor"
    )
    jitter: Annotated[float, Quantity("V", least=0.0, most=1.0)] = Field(
        0.010,
        title="trigger jitter",
        description="standard deviation of its trigger from one pulse to the next",
    )
    ahead: Offset = Field(0.022, title="place ahead of the axle", description="place ahead of the axle")
    aside: Length = Field(
        0.030,
        title="distance from the middle",
        description="place outward from the middle; eyes are twice this apart",
    )
    height: Length = Field(0.025, title="height", description="place above the floor")
    outward: Angle = Field(
        math.radians(40.0), title="aim outward", description="aim, outward from straight ahead"
    )
    up: Annotated[float, Quantity("rad", least=-math.pi / 2, most=math.pi / 2)] = Field(
        math.radians(20.0), title="aim upward", description="aim, above the horizontal"
    )
    half_angle: Annotated[float, Quantity("rad", least=math.radians(1.0), most=math.radians(89.0))] = Field(
        math.radians(50.0), title="half angle", description="angle off its aim at which it sees half as much"
    )

    @cross_check
    def _check_table(self) -> Iterator[KeyedError]:
        if not self.table:
            return
        if not 2 <= len(self.table) <= MOST_TABLE_ROWS:
            yield KeyedError(("table",), f"{len(self.table)} rows", f"2 to {MOST_TABLE_ROWS} rows")
            return
        for number, (before, row) in enumerate(pairwise(self.table), start=1):
            with suppress(UnreadError):
                if row.light <= before.light:
                    place = ("table", number, "light")
                    yield KeyedError(place, f"{row.light:g} lx", "more light than a row before")
            with suppress(UnreadError):
                if row.trigger < before.trigger:
                    expected = "a voltage that does not fall with light"
                    yield KeyedError(("table", number, "trigger"), f"{row.trigger:g} V", expected)


class Transistor(BaseSpec):
    """A small-signal bipolar transistor of the latch."""

    gain: Annotated[float, Number(least=5.0, most=2000.0)] = Field(
        150.0, title="current gain", description="greatest current gain, between the two knees"
    )
    knee_current: KneeCurrent = Field(
        0.080, title="knee current", description="collector current at which the gain has halved"
    )
    saturation_current: Annotated[float, Quantity("A", least=1e-18, most=1e-9)] = Field(
        6.7e-15, title="saturation current", description="transport saturation current"
    )
    reverse_gain: Annotated[float, Number(least=0.1, most=100.0)] = Field(
        5.0, title="reverse current gain", description="current gain with emitter and collector exchanged"
    )
    # typical curves of data sheets have three quarters of the greatest gain at 0.1 mA, from memory
    low_knee_current: Annotated[float, Quantity("A", least=0.0, most=1e-3)] = Field(
        10e-6,
        title="lower knee current",
        description="collector current below which the gain has fallen to half; 0 A for none",
    )
    early_voltage: EarlyVoltage = Field(
        75.0,
        title="Early voltage",
        description="Early voltage, by which collector current rises with the voltage; 1 MV for none",
    )


class Driver(Transistor):
    """The transistor of the latch that drives the other one: smaller, and of a lower Early voltage."""

    knee_current: KneeCurrent = Field(
        0.020, title="knee current", description="collector current at which the gain has halved"
    )
    early_voltage: EarlyVoltage = Field(
        25.0,
        title="Early voltage",
        description="Early voltage, by which collector current rises with the voltage; 1 MV for none",
    )


class Motor(BaseSpec):
    """A small direct-current motor whose shaft carries the tyre."""

    resistance: Annotated[float, Quantity("ohm", least=0.5, most=1e4)] = Field(
        28.0, title="winding resistance", description="winding resistance"
    )
    constant: Annotated[float, Quantity("V s/rad", least=1e-5, most=1.0)] = Field(
        2.2e-3, title="constant", description="back-EMF a speed, which is also torque a current"
    )
    inertia: Annotated[float, Quantity("kg m2", least=1e-10, most=1e-4)] = Field(
        1.5e-8, title="inertia", description="inertia of rotor, shaft and tyre"
    )
    friction: Annotated[float, Quantity("N m", least=1e-7, most=0.1)] = Field(
        2e-5, title="friction torque", description="dry friction of the bearings"
    )
    magnet: Annotated[str, Word(tuple(MAGNETS))] = Field(
        "neodymium", title="magnet", description="kind of its magnet, which loses flux as it warms up"
    )
    turns: Annotated[str, Word(("forward", "backward"))] = Field(
        "forward", title="direction", description="way in which it drives the walker as wired"
    )


class Tyre(BaseSpec):
    """The tyre on the motor's shaft: heat-shrink or silicone tube."""

    radius: Annotated[float, Quantity("m", least=2e-4, most=0.05)] = Field(
        0.0016, title="radius", description="radius"
    )
    grip: Annotated[float, Number(least=0.01, most=3.0)] = Field(
        0.7, title="friction coefficient", description="coefficient of friction on the floor"
    )
    slip_speed: Annotated[float, Quantity("m/s", least=1e-3, most=1.0)] = Field(
        0.05,
        title="slip speed",
        description="slip at which friction has come to three quarters of its full value",
    )


class Side(BaseSpec):
    """One of the two sides: eye, latch, motor and whisker."""

    eye: Eye = Field(default_factory=Eye, title="eye", description="flashing LED")
    series: Resistance = Field(
        47e3, title="series resistor", description="resistor that feeds the eye from the collector"
    )
    coupling: Annotated[float, Quantity("F", least=1e-9, most=1e-3)] = Field(
        1e-6, title="coupling capacitor", description="capacitor from the eye to the PNP's base"
    )
    latch: Resistance = Field(
        10e3, title="latch resistor", description="resistor from the PNP's base to the NPN's collector"
    )
    feeler: Annotated[Resistance | None, OrNone()] = Field(
        33e3,
        title="feeler resistor",
        description="resistor from the whisker's switch to the top of the eye, or none",
    )
    npn: Transistor = Field(
        default_factory=Transistor, title="NPN", description="transistor that carries the motor"
    )
    # a class of its own, so that a file which gives but its gain leaves its knee as it is
    pnp: Driver = Field(default_factory=Driver, title="PNP", description="transistor that drives the NPN")
    motor: Motor = Field(default_factory=Motor, title="motor", description="motor")
    tyre: Tyre = Field(default_factory=Tyre, title="tyre", description="tyre")
    whisker: Annotated[Whisker | None, OrNone()] = Field(
        default_factory=Whisker, title="whisker", description="feeler wire with its switch, or none"
    )


class Body(BaseSpec):
    """Frame, mass and outline; the walker stands on two tyres and a tail."""

    mass: Annotated[float, Quantity("kg", least=1e-4, most=5.0)] = Field(
        0.014, title="mass", description="mass in all"
    )
    track: Annotated[float, Quantity("m", least=5e-3, most=0.4)] = Field(
        0.042, title="track", description="distance between the tyres"
    )
    tyre_load: Annotated[float, Fraction(least=0.05, most=0.5)] = Field(
        0.45,
        title="load on each tyre",
        description="share of the weight on each tyre; the tail carries the rest",
    )
    pivot_inertia: Annotated[float, Quantity("kg m2", least=1e-10, most=1.0)] | None = Field(
        None,
        title="inertia about the standing tyre",
        description="inertia about the standing tyre; from mass, track and outline if left out",
    )
    drag: Annotated[float, Quantity("N", least=0.0, most=10.0)] = Field(
        0.012, title="drag", description="force at the driven tyre that resists rolling and turning"
    )
    # smooth plastic on plastic or card has 0.1 to 0.3 (from memory), and less while a motor shakes it (common
    # practice, no source)
    rim_friction: Annotated[float, Number(least=0.0, most=2.0)] = Field(
        0.15,
        title="rim friction coefficient",
        description="coefficient of friction of the body's rim on walls and on other bodies",
    )
    radius: Annotated[float, Quantity("m", least=2e-3, most=0.4)] | None = Field(
        None, title="radius", description="radius of a round body; 26 mm if no outline is given either"
    )
    ahead: Offset = Field(
        0.004, title="middle ahead of the axle", description="middle of a round body ahead of the axle"
    )
    outline: Annotated[tuple[Pair, ...], Points(least_count=3)] | None = Field(
        None,
        title="outline",
        description="corners of a convex body, in place of a round one: ahead of the axle and to its left",
    )
    height: Length = Field(
        0.035, title="height", description="height of the body, up to which it shades others"
    )

    @cross_check
    def _check_shape(self) -> Iterator[KeyedError]:
        if self.is_given("outline") and self.is_given("radius"):
            yield KeyedError(("outline",), "outline beside radius", "only one of the two")

    @cross_check
    def _check_outline(self) -> Iterator[KeyedError]:
        if self.outline is None:
            return
        if len(self.outline) > MOST_CORNERS:
            yield KeyedError(("outline",), f"{len(self.outline)} corners", f"at most {MOST_CORNERS} corners")
        elif not _is_convex(self.outline):
            yield KeyedError(("outline",), "an outline that bends inward", "a convex outline, in order")


def _is_convex(corners: tuple[Pair, ...]) -> bool:
    """Whether the corners, taken in order, turn one way and once round."""
    count = len(corners)
    turned = 0.0
    signs = set()
    for i in range(count):
        (ax, ay), (bx, by), (cx, cy) = corners[i], corners[(i + 1) % count], corners[(i + 2) % count]
        cross = (bx - ax) * (cy - by) - (by - ay) * (cx - bx)
        dot = (bx - ax) * (cx - bx) + (by - ay) * (cy - by)
        if cross == 0.0:
            return False
        signs.add(cross > 0.0)
        turned += math.atan2(cross, dot)
    return len(signs) == 1 and abs(abs(turned) - 2.0 * math.pi) < 1e-6
