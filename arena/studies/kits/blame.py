"""Which part's tolerance is to blame, and what a tighter tolerance or a matched pair would buy.

Each question is asked of the very same copies: one part is drawn tighter or alike on both sides, and all else
stays as it was drawn. So a difference is one between paired copies, and is told apart from nought by those
alone that work in one way and not in the other.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from agents.arrays import BoolArray, FloatArray
from agents.design.built_copies import part_values
from agents.design.spec import Design
from agents.design.values_by_path import BOTH, expanded, of_both
from agents.testbench.faults import FAULTS
from arena.studies.kits.judging import BenchResult, BenchTest, Progress, share_of
from arena.studies.running.piece_journal import PieceJournal
from arena.studies.statistics.comparison import LEVEL, corrected, pair_tests
from arena.studies.statistics.estimates import Estimate
from arena.studies.trial_scores import Score

# From chances and values of the parts, (copies, parts) each, to other values.
Change = Callable[[FloatArray, FloatArray], FloatArray]

_WORKS = Score("works", "that work", "%", True, "share", "works", None, "Share of the copies that work.")
# 97.5 % point of the standard normal distribution.
_Z = 1.959963984540054
# Classes of equal number into which a draw is sorted.
CLASSES = 10

# What a builder does to a part is no property of it, and is not bought alike.
_PLACED = frozenset({"ahead", "aside", "height", "outward", "up", "tape"})
# Parts of a side as one buys them, by their first key; the eyes first.
_BOUGHT = {
    "eye": "eyes",
    "latch": "latch resistors",
    "series": "series resistors",
    "feeler": "feeler resistors",
    "coupling": "coupling capacitors",
    "npn": "NPN transistors",
    "pnp": "PNP transistors",
    "motor": "motors",
    "tyre": "tyres",
    "whisker": "feeler wires",
}


@dataclass(frozen=True)
class Gain:
    """What a change to the copies' parts would buy.

    ``share`` works with the change, ``gain`` is that less the share without it. ``mended`` copies come to
    work by it and ``broken`` ones cease to; ``p_value`` is the chance of so uneven a split by luck, by the
    exact test of McNemar, corrected after Holm for all changes of its kind. ``mends`` counts the faults that
    mended copies had, most frequent first.
    """

    share: Estimate
    gain: Estimate
    mended: int
    broken: int
    p_value: float
    mends: tuple[tuple[str, int], ...]

    @property
    def is_told(self) -> bool:
        """Whether the gain can be told from nought."""
        return self.p_value < LEVEL and self.mended > self.broken


@dataclass(frozen=True)
class PartBlame:
    """One part's tolerance: ``exact`` parts, or half the tolerance.

    ``explained`` is the share of the variance between copies that work and do not that goes with this draw
    alone, see :func:`explained_by`.
    """

    path: str
    tolerance: str
    exact: Gain
    half: Gain
    explained: float


@dataclass(frozen=True)
class PairBlame:
    """Two parts bought alike: both sides draw ``paths`` alike."""

    name: str
    paths: tuple[str, ...]
    alike: Gain


@dataclass(frozen=True)
class Blame:
    """All of it, the largest gain first; asked of the first ``copies``."""

    copies: int
    parts: tuple[PartBlame, ...]
    pairs: tuple[PairBlame, ...]


def parts_of(design: Design) -> dict[str, tuple[int, ...]]:
    """Columns of ``design.spreads`` by part; one that both sides have is called ``both.`` and has two."""
    # of a part with two tolerances the last one counts
    column_of = {spread.path: column for column, spread in enumerate(design.spreads)}
    found: dict[str, tuple[int, ...]] = {}
    for path, column in column_of.items():
        both = of_both(path)
        part = both if all(one in column_of for one in expanded(both)) else path
        found[part] = (*found.get(part, ()), column)
    return found


def pairs_of(design: Design) -> dict[str, tuple[tuple[int, int], ...]]:
    """Columns of ``design.spreads``, left and right, of each pair of parts that may be bought alike."""
    pairs: dict[str, tuple[tuple[int, int], ...]] = {}
    both = {path: columns for path, columns in parts_of(design).items() if path.startswith(f"{BOTH}.")}
    for key, name in _BOUGHT.items():
        columns = tuple(
            (left, right)
            for path, (left, right) in both.items()
            if path.split(".")[1] == key and path.split(".")[-1] not in _PLACED
        )
        if columns:
            pairs[name] = columns
    return pairs


def tightened(design: Design, columns: Sequence[int], factor: float) -> Change:
    """The change that leaves of the deviations of some parts only ``factor``, 0 to 1."""
    nominal = np.array([spread.value for spread in design.spreads])

    def change(chances: FloatArray, values: FloatArray) -> FloatArray:
        changed = values.copy()
        for column in columns:
            changed[:, column] = nominal[column] + factor * (values[:, column] - nominal[column])
        return changed

    return change


def alike(design: Design, columns: Sequence[tuple[int, int]]) -> Change:
    """The change by which parts of the right side are drawn as those of the left side are."""

    def change(chances: FloatArray, values: FloatArray) -> FloatArray:
        drawn = chances.copy()
        for left, right in columns:
            drawn[:, right] = drawn[:, left]
        return part_values(design, drawn)

    return change


def blame(
    bench_test: BenchTest,
    chances: FloatArray,
    values: FloatArray,
    result: BenchResult,
    threads: int | None = None,
    tell: Progress | None = None,
    journal: PieceJournal | None = None,
    begun: int = 0,
) -> Blame:
    """Ask of copies, with ``chances`` and ``values`` (copies, parts) and their ``result``, who is to blame.

    The same for any number of ``threads``. ``tell`` is called with the share done, 0 to 1; what it raises
    stops the work within a moment. For ``journal`` and ``begun`` see :meth:`BenchTest.results`.
    """
    design = bench_test.design
    parts, pairs = parts_of(design), pairs_of(design)
    changes = [tightened(design, columns, factor) for factor in (0.0, 0.5) for columns in parts.values()]
    changes += [alike(design, columns) for columns in pairs.values()]
    results = bench_test.results(
        [change(chances, values) for change in changes], threads, tell, journal, begun
    )
    count = len(parts)
    exact, half, matched = (
        _gains(result, results[first:last])
        for first, last in ((0, count), (count, 2 * count), (2 * count, None))
    )
    told = [
        PartBlame(
            path, _tolerance(design, columns), exact[row], half[row], _explained(chances, columns, result)
        )
        for row, (path, columns) in enumerate(parts.items())
    ]
    paired = [
        PairBlame(name, tuple(of_both(design.spreads[left].path) for left, _ in columns), matched[row])
        for row, (name, columns) in enumerate(pairs.items())
    ]
    # equals stay in the order of the file, the eyes first
    told.sort(key=lambda one: -one.exact.gain.value)
    paired.sort(key=lambda one: -one.alike.gain.value)
    return Blame(len(values), tuple(told), tuple(paired))


def _tolerance(design: Design, columns: Sequence[int]) -> str:
    """The tolerance as the file has it, of either side where they differ."""
    texts = []
    for column in columns:
        path = design.spreads[column].path
        [*_, tolerance] = [found for key, found in design.spread.items() if key in (path, of_both(path))]
        text = f"normal {tolerance.normal}" if tolerance.normal else f"uniform {tolerance.uniform}"
        texts.append(f"{text}, bound {tolerance.bound}" if tolerance.bound else text)
    return " and ".join(dict.fromkeys(texts))


def _gains(before: BenchResult, after: Sequence[BenchResult]) -> list[Gain]:
    """What each of several changes of one kind would buy."""
    if not after:
        return []
    rows = np.array([before.works, *(one.works for one in after)], np.float64)
    p_values = corrected(pair_tests(_WORKS, rows, None, 0).p_value, 0, is_chosen=False)[1:].tolist()
    gains = []
    for one, p_value in zip(after, p_values, strict=True):
        mended, broken = one.works & ~before.works, before.works & ~one.works
        had = [(name, int(before.has(name)[mended].any(axis=1).sum())) for name in FAULTS]
        mends = tuple(sorted((pair for pair in had if pair[1]), key=lambda pair: -pair[1]))
        counts = int(np.count_nonzero(mended)), int(np.count_nonzero(broken))
        gain = paired_difference(*counts, len(before.works))
        gains.append(Gain(share_of(one.works), gain, *counts, p_value, mends))
    return gains


def paired_difference(mended: int, broken: int, count: int) -> Estimate:
    """Difference between two shares of the same ``count`` copies, with an interval.

    (b - c) / n; the interval takes half a copy more in each of the four cells of the table:
    d = (b - c) / (n + 2), d ± z sqrt((b + 1/2) + (c + 1/2) - (b - c)² / (n + 2)) / (n + 2).

    Agresti and Min, "Effects and non-effects of paired identical observations in comparing proportions with
    binary matched-pairs data", Statistics in Medicine 23 (2004).
    """
    whole = count + 2
    middle = (mended - broken) / whole
    spread = _Z * math.sqrt(mended + broken + 1 - (mended - broken) ** 2 / whole) / whole
    return Estimate(
        (mended - broken) / count, max(middle - spread, -1.0), min(middle + spread, 1.0), count, "Agresti-Min"
    )


def _explained(chances: FloatArray, columns: Sequence[int], result: BenchResult) -> float:
    draws = [chances[:, column] for column in columns]
    if len(columns) == 2:
        # of two sides it is often their difference that counts, which neither draw alone shows
        draws.append(draws[0] - draws[1])
    return max(explained_by(draw, result.works) for draw in draws)


def explained_by(draw: FloatArray, works: BoolArray) -> float:
    """Share of the variance of ``works`` (copies,) that goes with ``draw`` (copies,): 0 none, 1 all.

    The correlation ratio of Pearson over ten classes of equal number, less what luck would give:
    1 - (1 - eta²)(n - 1) / (n - k), not below 0, with eta² the variance between the means of k classes over
    the whole. It needs no second draw, and sees a part that does harm at either end. 0 where all copies
    work, or none, or where there are too few.

    Kelley, "An unbiased correlation ratio measure", Proc. National Academy of Sciences 21 (1935).
    """
    count = len(works)
    classes = min(CLASSES, count // 2)
    hits = works.astype(np.float64)
    whole = float(np.sum((hits - hits.mean()) ** 2)) if count else 0.0
    if whole == 0.0 or classes < 2:
        return 0.0
    within = sum(
        float(np.sum((hits[part] - hits[part].mean()) ** 2))
        for part in np.array_split(np.argsort(draw, kind="stable"), classes)
    )
    return max(0.0, 1.0 - within / whole * (count - 1) / (count - classes))
