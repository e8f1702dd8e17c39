"""What is printed on a part: three figures, letters in the place of the point, and rings of colour.

Letters in the place of the decimal point, like ``4k7``, and the colours of rings are those of IEC 60062 (from
memory); values written with letters are read by :class:`agents.text.quantities.Quantity`. Three or four
figures, of which the last counts the noughts, are common practice, no source: picofarads on a capacitor, ohms
on a resistor.
"""

import math
import re

from agents.errors import nearest
from agents.text.readers import QuantityError, quote

FIGURES = (
    *("black", "brown", "red", "orange", "yellow"),
    *("green", "blue", "violet", "grey", "white"),
)
"""Colours by the figure for which they stand (IEC 60062)."""

POWERS = {**{colour: power for power, colour in enumerate(FIGURES)}, "gold": -1, "silver": -2, "pink": -3}
"""Colours of the ring that multiplies, by the power of ten (IEC 60062)."""

TOLERANCES = {
    "brown": 0.01,
    "red": 0.02,
    "orange": 0.0005,
    "yellow": 0.0002,
    "green": 0.005,
    "blue": 0.0025,
    "violet": 0.001,
    "grey": 0.0001,
    "gold": 0.05,
    "silver": 0.10,
}
"""Colours of the ring that tells the tolerance, as a share (IEC 60062)."""

UNMARKED = 0.20
"""Tolerance of a resistor with three rings, which says none (IEC 60062)."""

TOLERANCE_LETTERS = {
    "B": 0.001,
    "C": 0.0025,
    "D": 0.005,
    "F": 0.01,
    "G": 0.02,
    "J": 0.05,
    "K": 0.10,
    "M": 0.20,
}
"""Letters behind a printed value that tell the tolerance, as a share (IEC 60062)."""

_OTHER_SPELLINGS = {"gray": "grey", "purple": "violet"}
_FIGURE_CODE = re.compile(r"([0-9]{2,3})([0-9])([BCDFGJKM])?")


def read_rings(text: str) -> tuple[float, float]:
    """Return resistance [ohm] and tolerance [a share] from the colours of three to six rings, as they stand.

    Three or four rings have two figures, five or six have three. A sixth ring tells how the resistance moves
    with temperature and is passed over. Raises :class:`~agents.text.readers.QuantityError`.

    >>> read_rings("yellow violet red gold")
    (4700.0, 0.05)
    >>> read_rings("brown black black orange brown")
    (100000.0, 0.01)
    """
    expected = "three to six colours of rings, like yellow violet red gold"
    words = [_OTHER_SPELLINGS.get(word, word) for word in re.split(r"[\s,/-]+", text.strip().lower())]
    if not 3 <= len(words) <= 6:
        raise QuantityError(quote(text), expected)
    for word in words:
        if word not in POWERS:
            raise QuantityError(quote(word), f"a colour: {', '.join(POWERS)}", nearest(word, POWERS))
    figures = 2 if len(words) < 5 else 3
    for word in words[:figures]:
        if word not in FIGURES:
            got = f"{word} as a figure"
            raise QuantityError(got, f"{', '.join(FIGURES)}; gold and silver stand at the end of the rings")
    value = float(f"{''.join(str(FIGURES.index(word)) for word in words[:figures])}e{POWERS[words[figures]]}")
    if value == 0.0:
        raise QuantityError(quote(text), "a resistance above nought")
    if len(words) == 3:
        return value, UNMARKED
    ring = words[figures + 1]
    if ring not in TOLERANCES:
        raise QuantityError(
            f"{ring} as a tolerance", f"one of {', '.join(TOLERANCES)}", nearest(ring, TOLERANCES)
        )
    return value, TOLERANCES[ring]


def read_figures(text: str, unit: str) -> tuple[float, float | None] | None:
    """Return value and tolerance, if it says one, from a code of figures alone; None for any other text.

    ``unit`` is ``F``, where the figures count picofarads, or ``ohm``.

    >>> read_figures("104", "F"), read_figures("473J", "ohm"), read_figures("4k7", "ohm")
    ((1e-07, None), (47000.0, 0.05), None)
    """
    match = _FIGURE_CODE.fullmatch(text.strip())
    if match is None:
        return None
    # 9 in the last place of a capacitor divides by ten, as on 1.5 pF: 159
    power = -1 if unit == "F" and match[2] == "9" else int(match[2])
    value = float(f"{int(match[1])}e{power - 12 if unit == 'F' else power}")
    return value, TOLERANCE_LETTERS[match[3]] if match[3] else None


def ring_colours(value: float, tolerance: float = 0.05) -> str:
    """Return the four rings of a resistor [ohm] of two figures, or five of three; empty where there are none.

    >>> ring_colours(4700.0), ring_colours(249e3, 0.01)
    ('yellow violet red gold', 'red yellow white orange brown')
    """
    names = {power: colour for colour, power in POWERS.items()}
    last = next((colour for colour, share in TOLERANCES.items() if share == tolerance), None)
    for figures in (2, 3):
        power = math.floor(math.log10(value)) - figures + 1 if value > 0.0 else -99
        count = round(value / 10.0**power) if power > -99 else 0
        if last is not None and power in names and math.isclose(count * 10.0**power, value, rel_tol=1e-9):
            return " ".join([*(FIGURES[int(one)] for one in str(count)), names[power], last])
    return ""


def figure_code(value: float, unit: str) -> str:
    """Return the three figures on a part of ``value`` [``F`` or ``ohm``]; empty where there are none.

    >>> figure_code(100e-9, "F"), figure_code(47e3, "ohm"), figure_code(2.2e-3, "F")
    ('104', '473', '')
    """
    counted = value * 1e12 if unit == "F" else value
    power = math.floor(math.log10(counted)) - 1 if counted > 0.0 else -1
    count = round(counted / 10.0**power) if power >= 0 else 0
    # large capacitors have their value printed in full
    if not 0 <= power <= 6 or not math.isclose(count * 10.0**power, counted, rel_tol=1e-9):
        return ""
    return f"{count}{power}"
