"""The picking list: which two of a bag of measured eyes go into one walker, so that most steer straight."""

import math
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from agents.arrays import FloatArray, RecordArray
from agents.design.as_built import build
from agents.design.built_copies import part_chances, part_values
from agents.design.spec import Design, Tolerance
from agents.design.values_by_path import BOTH, SIDES, of_both
from agents.drawer.pairing import pair_up, random_share
from agents.errors import Fault, SpecError
from agents.testbench.faults import fault_names
from agents.testbench.surveys import survey
from agents.text.marked_yaml import read_text
from agents.text.quantities import Quantity
from agents.text.readers import QuantityError, quote
from agents.text.units import format_quantity
from arena.studies.kits.judging import BenchTest

HEADER = "eye,trigger"
# Eyes drawn where none were measured.
BAG = 30
MOST_EYES = 10_000
LONGEST_LABEL = 40
# Limits of both ways round that differ by less [V] are the same.
_SAME = 1e-3
# Differences of two eyes [V] that are looked at, and to what they are found.
FARTHEST = 5.0
EXACT = 1e-6

_TRIGGER = Quantity("V", least=0.1, most=20.0)
_HEADING = re.compile(r"eye\s*(?P<divider>[,;\t])\s*trigger\s*(?:[\[(]\s*(?P<unit>m?v)\s*[\])])?")
_DECIMAL_COMMA = re.compile(r"([0-9]*),([0-9]+)")
_BARE = re.compile(r"[0-9.]+")


@dataclass(frozen=True)
class MeasuredEye:
    """One flashing LED of the bag: the ``label`` on it, and its measured ``trigger`` [V]."""

    label: str
    trigger: float


@dataclass(frozen=True)
class EyePair:
    """Two eyes for one walker; ``beside`` [rad] is the farthest that it then heads beside a lamp.

    Over all lights asked for; positive where the lamp stands to the left of where it heads. ``faults`` are
    those of the bench that come with the difference of these eyes, the walker being as drawn otherwise.
    """

    left: MeasuredEye
    right: MeasuredEye
    beside: float
    faults: tuple[str, ...]

    @property
    def difference(self) -> float:
        """How far apart the two triggers are [V]."""
        return abs(self.left.trigger - self.right.trigger)


@dataclass(frozen=True)
class Picking:
    """The list. ``limit`` [V]: two eyes further apart make a walker stray, all its other parts as drawn.

    ``listed`` is the share of walkers, one for every two eyes, that steer straight by the list; ``blind`` the
    expected share where eyes are taken out of the bag as they come. ``is_handed`` where it matters which eye
    goes left. ``is_measured`` where the eyes are the user's own, not drawn from the design's tolerance.
    """

    eyes: tuple[MeasuredEye, ...]
    is_measured: bool
    limit: float
    is_handed: bool
    pairs: tuple[EyePair, ...]
    left_over: tuple[MeasuredEye, ...]
    listed: float
    blind: float


def read_eyes(path: Path) -> list[MeasuredEye]:
    """Read a table of measured eyes: the line ``eye,trigger``, then one eye a line, like ``E07,2.31 V``.

    With semicolons or tabs in place of the commas, as a spreadsheet of many countries writes it, a voltage
    may have a decimal comma. The unit may stand in the heading instead: ``trigger [V]``. Blank lines are
    skipped. Raises NotFoundError, and SpecError with all that is wrong: a value that is no voltage with its
    unit, a label that is there twice, or fewer than two eyes.
    """
    file = str(path)
    # a spreadsheet's line ends, and no others: a label may hold what Python takes for one
    lines = re.split("\r\n|\r|\n", read_text(path, file))
    match = _HEADING.fullmatch(lines[0].strip().lower())
    if match is None:
        raise SpecError([Fault(file, 1, 1, "", quote(lines[0].strip()), f"the line {HEADER}")])
    divider, unit = match["divider"], match["unit"]
    eyes: list[MeasuredEye] = []
    faults: list[Fault] = []
    seen: dict[str, int] = {}
    for number, line in enumerate(lines[1:], 2):
        if not line.strip():
            continue
        fields = line.split(divider)
        label = fields[0].strip()
        if len(fields) != 2:
            faults.append(
                Fault(file, number, 1, "", quote(line.strip()), "a label and a voltage, like E07,2.31 V")
            )
            continue
        if not label or len(label) > LONGEST_LABEL or not label.isprintable() or '"' in label:
            expected = f"a label of at most {LONGEST_LABEL} letters, without quotes"
            faults.append(Fault(file, number, 1, "eye", quote(label), expected))
        elif label in seen:
            expected = f"labels that differ; it stands in line {seen[label]} too"
            faults.append(Fault(file, number, 1, "eye", quote(label), expected))
        seen.setdefault(label, number)
        text = fields[1].strip() if divider == "," else _DECIMAL_COMMA.sub(r"\1.\2", fields[1].strip())
        if unit and _BARE.fullmatch(text):
            text = f"{text} {'mV' if unit == 'mv' else 'V'}"
        try:
            eyes.append(MeasuredEye(label, float(_TRIGGER.read(text))))
        except QuantityError as error:
            column = len(fields[0]) + 2
            faults.append(Fault(file, number, column, "trigger", error.got, error.expected, error.near))
    if not faults and not 2 <= len(eyes) <= MOST_EYES:
        got = f"{len(eyes)} eye{'' if len(eyes) == 1 else 's'}"
        faults.append(Fault(file, len(lines), 1, "", got, f"2 to {MOST_EYES} eyes"))
    if faults:
        raise SpecError(faults)
    return eyes


def with_spread_of(design: Design, triggers: Sequence[float]) -> Design:
    """Return the design with eyes that scatter as measured ``triggers`` [V] do, where it says nothing of it.

    Eyes with a bench table have none to give.
    """
    path = f"{BOTH}.eye.dark_trigger"
    given = {of_both(spread.path) for spread in design.spreads}
    if path in given or any(getattr(design, name).eye.table for name in SIDES) or len(triggers) < 2:
        return design
    deviation = float(np.std(triggers, ddof=1))
    if deviation == 0.0:
        return design
    width = format_quantity(deviation, "V", 3)
    return design.with_spread({**design.spread, path: Tolerance(normal=width)})


def drawn_eyes(bench_test: BenchTest, seed: int) -> list[MeasuredEye]:
    """The eyes of the first fifteen copies of a design; none where its eyes have no tolerance."""
    design = bench_test.design
    columns = [
        column
        for name in ("left", "right")
        for column, spread in enumerate(design.spreads)
        if spread.path == f"{name}.eye.dark_trigger" and not getattr(design, name).eye.table
    ]
    if len(columns) < 2:
        return []
    chances = part_chances(design, seed, range(BAG // 2))
    triggers = part_values(design, chances)[:, columns].ravel()
    return [MeasuredEye(f"E{number:02d}", trigger) for number, trigger in enumerate(triggers.tolist(), 1)]


def pick(bench_test: BenchTest, eyes: Sequence[MeasuredEye], is_measured: bool) -> Picking | None:
    """Pair at least two ``eyes`` for as many walkers as possible that steer straight.

    None where like eyes do not make the design steer straight either, since then no pairing will.
    """
    least, most = straight_range(bench_test)
    if not least <= 0.0 <= most:
        return None
    triggers = [eye.trigger for eye in eyes]
    limit, other = max(-least, most), min(-least, most)
    pairing = pair_up(triggers, limit)
    is_handed = limit - other > _SAME
    middle = 0.5 * (least + most) if is_handed else 0.0
    chosen = []
    for low, high in pairing.pairs:
        apart = triggers[high] - triggers[low]
        # the way round that leaves more on either side
        is_high_left = abs(apart - middle) < abs(-apart - middle)
        chosen.append((eyes[high], eyes[low]) if is_high_left else (eyes[low], eyes[high]))
    pairs = tuple(_tried(bench_test, chosen))
    return Picking(
        tuple(eyes),
        is_measured,
        limit,
        is_handed,
        pairs,
        tuple(eyes[place] for place in pairing.left_over),
        len(pairs) / (len(eyes) // 2),
        0.5 * (random_share(triggers, limit) + random_share(triggers, other)),
    )


def _level(bench_test: BenchTest) -> RecordArray:
    """The design with like eyes, as one WALKER record."""
    records = build(bench_test.design)
    sides = records[0]["side"]
    if not np.any(sides["table_count"]):
        sides["dark_trigger"] = np.mean(sides["dark_trigger"])
    return records


def _with_eyes(bench_test: BenchTest, differences: Sequence[float]) -> RecordArray:
    """Walkers as drawn, but that the left eye lies by each of ``differences`` [V] above the right one."""
    records = np.repeat(_level(bench_test), len(differences))
    for record, difference in zip(records, differences, strict=True):
        for side, shift in zip(record["side"], (0.5 * difference, -0.5 * difference), strict=True):
            side["dark_trigger"] += shift
            side["table_volts"] += shift
    return records


def straight_range(bench_test: BenchTest) -> tuple[float, float]:
    """How far [V] the left eye may lie above the right one, from and to, for a walker to steer straight.

    All else is as drawn, and it has to at every light. The higher the left eye, the further to the right the
    lamp comes to stand; so each end is found by halving. The first is above the second where no eyes do.
    """
    demand = bench_test.demand

    def beside(difference: float) -> FloatArray:
        found = survey(_with_eyes(bench_test, [difference]), demand.lights, demand.kind).beside
        # a walker that circles does so on the side of the eye that fires
        return np.nan_to_num(found, nan=-math.copysign(math.inf, difference))

    def end(is_beyond: Callable[[float], bool], inner: float, outer: float) -> float:
        while abs(outer - inner) > EXACT:
            middle = 0.5 * (inner + outer)
            inner, outer = (inner, middle) if is_beyond(middle) else (middle, outer)
        return inner

    least = end(lambda one: bool(np.any(beside(one) > demand.straight)), FARTHEST, -FARTHEST)
    most = end(lambda one: bool(np.any(beside(one) < -demand.straight)), -FARTHEST, FARTHEST)
    return least, most


def _tried(bench_test: BenchTest, pairs: Sequence[tuple[MeasuredEye, MeasuredEye]]) -> list[EyePair]:
    """What walkers with pairs of eyes, left and right, do; as drawn otherwise."""
    if not pairs:
        return []
    records = _with_eyes(bench_test, [left.trigger - right.trigger for left, right in pairs])
    demand = bench_test.demand
    found = survey(records, demand.lights, demand.kind)
    excused = {*demand.allowed, *fault_names(int(np.bitwise_or.reduce(bench_test.as_drawn.faults[0])))}
    # nan where it circles is farther than any
    farthest = np.argmax(np.where(np.isnan(found.beside), math.inf, np.abs(found.beside)), axis=1)
    bits = np.bitwise_or.reduce(found.faults, axis=1)
    return [
        EyePair(
            *two,
            float(found.beside[number, farthest[number]]),
            tuple(name for name in fault_names(int(bits[number])) if name not in excused),
        )
        for number, two in enumerate(pairs)
    ]
