"""The whitelist of units: every spelling that is accepted, and nothing else.

A unit of the code (the key of :data:`DIMENSIONS`) is the SI unit that values have once they are read;
grams become kilograms, degrees become radians, and light stays in lux, candela and lumen.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from itertools import product

_PREFIXES = {"p": -12, "n": -9, "u": -6, "m": -3, "": 0, "k": 3, "M": 6, "G": 9}
# The micro sign and the Greek letter look alike, and keyboards give one or the other.
_MICRO = ("u", "µ", "μ")

UnitFactor = Decimal | float


@dataclass(frozen=True)
class Dimension:
    """What one unit of the code accepts.

    ``spellings`` maps every accepted spelling to its factor to SI; ``main`` are those that messages name.
    ``shown`` are pairs of a spelling and the least SI value printed in it, ascending. ``letters`` are the
    letters of IEC 60062 that may stand in the place of the decimal point, with their factors. ``offset`` is
    the SI value of nought, for a scale that does not begin there.
    """

    noun: str
    example: str
    main: tuple[str, ...]
    spellings: Mapping[str, UnitFactor]
    shown: tuple[tuple[str, float], ...]
    letters: Mapping[str, Decimal] = field(default_factory=dict)
    offset: Decimal = Decimal(0)


def _variants(spelling: str) -> set[str]:
    """Spellings that differ only in how one types them: micro signs, a product's dot, a raised 2, an ohm."""
    # Every unit here that begins with u is a micro-something.
    heads = _MICRO if spelling.startswith("u") else (spelling[0],)
    tails = {spelling[1:].replace(" ", joint) for joint in (" ", "·", "")}
    tails |= {tail.replace("2", "²") for tail in tails}
    found = {head + tail for head, tail in product(heads, tails)}
    for omega in ("\N{GREEK CAPITAL LETTER OMEGA}", "\N{OHM SIGN}"):
        found |= {variant.replace("ohm", omega) for variant in found}
    return found


def _dimension(
    noun: str,
    example: str,
    units: dict[str, UnitFactor],
    shown: str,
    *,
    also: dict[str, UnitFactor] | None = None,
    letters: dict[str, Decimal] | None = None,
    offset: Decimal = Decimal(0),
) -> Dimension:
    """Build a dimension; ``shown`` lists the spellings for printing, ascending, separated by commas."""
    spellings: dict[str, UnitFactor] = {}
    for spelling, factor in units.items():
        for variant in _variants(spelling):
            spellings[variant] = factor
    spellings.update(also or {})
    printed = tuple((name, float(units[name])) for name in shown.split(","))
    return Dimension(noun, example, tuple(units), spellings, printed, letters or {}, offset)


def _prefixed(symbol: str, prefixes: str, head: str = "", tail: str = "") -> dict[str, UnitFactor]:
    """Return a unit with each of the prefixes (``-`` is none), between a fixed head and tail."""
    names = [prefix.replace("-", "") for prefix in prefixes.split()]
    return {f"{head}{name}{symbol}{tail}": Decimal(f"1e{_PREFIXES[name]}") for name in names}


def _letters(text: str) -> dict[str, Decimal]:
    return {letter: Decimal(f"1e{power}") for letter, power in (pair.split(":") for pair in text.split())}


_DEGREE = math.pi / 180.0

DIMENSIONS: dict[str, Dimension] = {
    "F": _dimension(
        "a capacitance",
        "2200 uF or 4n7",
        _prefixed("F", "p n u m -"),
        "pF,nF,uF,F",
        letters=_letters("p:-12 n:-9 u:-6 µ:-6 μ:-6 m:-3 F:0"),
    ),
    "ohm": _dimension(
        "a resistance",
        "33k or 33 kohm",
        _prefixed("ohm", "m - k M"),
        "mohm,ohm,kohm,Mohm",
        also={"R": Decimal(1)},
        letters=_letters("R:0 k:3 K:3 M:6 G:9"),
    ),
    "V": _dimension("a voltage", "2.35 V or 500 mV", _prefixed("V", "u m - k"), "uV,mV,V"),
    "A": _dimension("a current", "4 uA or 80 mA", _prefixed("A", "p n u m -"), "pA,nA,uA,mA,A"),
    "W": _dimension("a power", "20 mW or 1 W", _prefixed("W", "u m - k"), "uW,mW,W"),
    "J": _dimension("an energy", "7 mJ or 1 J", _prefixed("J", "u m - k"), "uJ,mJ,J"),
    "H": _dimension("an inductance", "100 uH or 1 mH", _prefixed("H", "n u m -"), "nH,uH,mH,H"),
    "s": _dimension(
        "a time",
        "20 s, 250 ms or 2 min",
        {**_prefixed("s", "n u m -"), "min": Decimal(60), "h": Decimal(3600)},
        "us,ms,s",
    ),
    "Hz": _dimension("a frequency", "30 Hz", _prefixed("Hz", "m - k M"), "mHz,Hz,kHz,MHz"),
    "1/s": _dimension(
        "a rate",
        "0.5 1/s",
        {"1/s": Decimal(1), "1/min": 1.0 / 60.0, "1/h": 1.0 / 3600.0},
        "1/s",
    ),
    "m": _dimension(
        "a length", "60 mm or 1.2 m", {**_prefixed("m", "u m -"), "cm": Decimal("0.01")}, "um,mm,m"
    ),
    "m2": _dimension(
        "an area",
        "12 cm2",
        {"mm2": Decimal("1e-6"), "cm2": Decimal("1e-4"), "m2": Decimal(1)},
        "mm2,cm2,m2",
    ),
    "m/s": _dimension("a speed", "50 mm/s", {**_prefixed("m/s", "m -"), "cm/s": Decimal("0.01")}, "mm/s,m/s"),
    "kg": _dimension(
        "a mass",
        "14 g or 0.2 kg",
        {"mg": Decimal("1e-6"), "g": Decimal("1e-3"), "kg": Decimal(1)},
        "mg,g,kg",
    ),
    "kg m2": _dimension(
        "a moment of inertia",
        "15 g mm2",
        {
            "g mm2": Decimal("1e-9"),
            "g cm2": Decimal("1e-7"),
            "kg mm2": Decimal("1e-6"),
            "kg cm2": Decimal("1e-4"),
            "kg m2": Decimal(1),
        },
        "g mm2,g cm2,kg m2",
    ),
    "N": _dimension("a force", "20 mN", _prefixed("N", "u m -"), "uN,mN,N"),
    "N m": _dimension("a torque", "20 uN m", _prefixed("N m", "n u m -"), "nN m,uN m,mN m,N m"),
    "N m/A": _dimension(
        "a torque constant", "2.2 mN m/A", _prefixed("N m/A", "u m -"), "uN m/A,mN m/A,N m/A"
    ),
    "N m/rad": _dimension(
        "a twisting stiffness", "2 mN m/rad", _prefixed("N m/rad", "u m -"), "uN m/rad,mN m/rad"
    ),
    "N m s/rad": _dimension(
        "a turning drag",
        "5 nN m s/rad",
        _prefixed("N m s/rad", "n u m -"),
        "nN m s/rad,uN m s/rad,mN m s/rad",
    ),
    "V s/rad": _dimension(
        "a voltage constant", "2.2 mV s/rad", _prefixed("V s/rad", "u m -"), "uV s/rad,mV s/rad"
    ),
    "N/m": _dimension("a stiffness", "5 N/m", {**_prefixed("N/m", "m -"), "N/mm": Decimal(1000)}, "mN/m,N/m"),
    "Pa": _dimension("a pressure or modulus", "200 GPa", _prefixed("Pa", "- k M G"), "Pa,kPa,MPa,GPa"),
    "rad": _dimension("an angle", "15 deg", {"deg": _DEGREE, "rad": Decimal(1)}, "deg", also={"°": _DEGREE}),
    "rad/s": _dimension(
        "a turning speed",
        "300 rad/s or 3000 rpm",
        {"rad/s": Decimal(1), "deg/s": _DEGREE, "rpm": math.pi / 30.0},
        "rad/s",
    ),
    "lx": _dimension("an illuminance", "500 lx or 20 klx", _prefixed("lx", "m - k M"), "lx,klx,Mlx"),
    "cd": _dimension("a luminous intensity", "20 cd", _prefixed("cd", "m - k"), "mcd,cd"),
    "lm": _dimension("a luminous flux", "800 lm", _prefixed("lm", "m - k"), "lm,klm"),
    "W/m2": _dimension("an irradiance", "1000 W/m2", _prefixed("W/m2", "m -"), "W/m2"),
    "W/m2K": _dimension("a loss of heat", "40 W/m2K", _prefixed("W/m2K", "m - k M"), "W/m2K,kW/m2K,MW/m2K"),
    # kelvin are not read, so that nobody mistakes one for the other
    "K": _dimension(
        "a temperature",
        "35 degC",
        {"degC": Decimal(1)},
        "degC",
        also={"°C": Decimal(1)},
        offset=Decimal("273.15"),
    ),
    "A/lx": _dimension(
        "a current per light", "40 nA/lx", _prefixed("A/lx", "p n u m -"), "pA/lx,nA/lx,uA/lx"
    ),
    "V/decade": _dimension(
        "a voltage per decade", "500 mV/decade", _prefixed("V/decade", "u m -"), "mV/decade,V/decade"
    ),
}


def plain_text(value: float, digits: int) -> str:
    """Print a number with so many significant digits, without an exponent and without trailing noughts."""
    text = format(Decimal(f"{value:.{digits - 1}e}"), "f")
    return text.rstrip("0").rstrip(".") if "." in text else text


def format_quantity(value: float, unit: str, digits: int = 3) -> str:
    """Print an SI value with the prefix that suits it, like ``2200 uF``; ``unit`` is a key of DIMENSIONS."""
    dimension = DIMENSIONS[unit]
    if not math.isfinite(value):
        return f"{value} {unit}"
    if dimension.offset:
        value -= float(dimension.offset)
    rounded = float(f"{value:.{digits - 1}e}")
    spelling = dimension.shown[0][0]
    if rounded == 0.0:
        return f"0 {'deg' if unit == 'rad' else spelling if dimension.offset else unit}"
    for name, least in dimension.shown:
        # People write 2200 uF, and 0.1 F rather than 100,000 uF.
        if abs(rounded) >= (0.05 if name == "F" else least) * (1.0 - 1e-12):
            spelling = name
    return f"{plain_text(value / float(dimension.spellings[spelling]), digits)} {spelling}"


def format_code(value: float, unit: str, digits: int = 3) -> str:
    """Print a resistance [ohm] or capacitance [F] as a code of IEC 60062, like ``4k7`` or ``2m2``."""
    letters = {"ohm": "RkMG", "F": "pnumF"}[unit]
    factors = DIMENSIONS[unit].letters
    rounded = float(f"{value:.{digits - 1}e}")
    if not (math.isfinite(rounded) and rounded > 0.0):
        raise ValueError(f"no code for {value} {unit}")
    fitting = [letter for letter in letters if rounded >= float(factors[letter]) * (1.0 - 1e-12)]
    letter = fitting[-1] if fitting else letters[0]
    whole, _, rest = plain_text(value / float(factors[letter]), digits).partition(".")
    return f"{'' if whole == '0' else whole}{letter}{rest}"
