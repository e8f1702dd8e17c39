"""How many kits of a design will work: built copies drawn from the tolerances of its parts, and judged."""

import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np

from agents.arrays import FloatArray
from agents.design.built_copies import part_chances, part_values
from agents.design.spec import Design
from agents.errors import OptionError
from agents.testbench.faults import FAULTS
from agents.testbench.measuring import BRIGHTEST
from agents.text.shapes import shape_at
from agents.text.table_cells import table_line
from arena.studies.kits.blame import Blame, Gain, blame, pairs_of, parts_of
from arena.studies.kits.eye_picking import (
    MeasuredEye,
    Picking,
    drawn_eyes,
    pick,
    straight_range,
    with_spread_of,
)
from arena.studies.kits.judging import (
    TOGETHER,
    BenchResult,
    BenchTest,
    Demand,
    Progress,
    expected_of,
    share_of,
)
from arena.studies.running.piece_journal import PieceJournal
from arena.studies.statistics.estimates import Estimate
from replays.format.whole_files import whole_file

Json = dict[str, Any]

MOST_COPIES = 1_000_000
MOST_KITS = 10_000
MOST_LIGHTS = 100
# Copies of which the parts are blamed: a difference of a tenth of a percent shows by then.
MOST_BLAMED = 10_000


@dataclass(frozen=True)
class KitYield:
    """What became of the copies of a design.

    ``values`` (copies, parts) are the parts as drawn, SI, in the order of ``design.spreads``. ``expected`` of
    ``kits`` will work, as (median, low, high). ``eye_range`` [V] is how far the left eye may lie above the
    right one, from and to, for a walker as drawn to steer straight; ``picking`` is None where there are no
    eyes to pick, or like eyes do not steer straight either.
    """

    bench_test: BenchTest
    seed: int
    values: FloatArray
    result: BenchResult
    share: Estimate
    kits: int
    expected: tuple[int, int, int]
    blame: Blame
    eye_range: tuple[float, float]
    picking: Picking | None

    @property
    def faulty_as_drawn(self) -> dict[str, tuple[float, ...]]:
        """The faults of the design itself, not allowed for, with the lights [lx] at which it has them."""
        return _by_name(self.bench_test)

    def counts(self) -> dict[str, tuple[int, tuple[int, ...]]]:
        """Copies with each fault: at any light, and at each; faults that no copy has are left out."""
        found = {}
        for name in FAULTS:
            has = self.result.has(name)
            if has.any():
                found[name] = int(has.any(axis=1).sum()), tuple(has.sum(axis=0).tolist())
        return found

    def as_dict(self) -> Json:
        """Return all of it for JSON, but for the single copies; SI units but for those in the names."""
        demand = self.bench_test.demand
        median, low, high = self.expected
        return {
            "design": self.bench_test.design.name,
            "copies": len(self.values),
            "seed": self.seed,
            "lights_lx": list(demand.lights),
            "light_kind": demand.kind,
            "allowed": [name for name in FAULTS if name in demand.allowed],
            "straight_deg": math.degrees(demand.straight),
            "faulty_as_drawn": {name: list(lights) for name, lights in self.faulty_as_drawn.items()},
            "works": _estimate_dict(self.share),
            "expected": {"kits": self.kits, "work": median, "low": low, "high": high},
            "faults": {
                name: {"copies": any_light, "by_light": list(by_light)}
                for name, (any_light, by_light) in self.counts().items()
            },
            "blame": {
                "copies": self.blame.copies,
                "parts": [
                    {
                        "part": one.path,
                        "tolerance": one.tolerance,
                        "explained": one.explained,
                        "exact": _gain_dict(one.exact),
                        "half": _gain_dict(one.half),
                    }
                    for one in self.blame.parts
                ],
                "pairs": [
                    {"pair": one.name, "parts": list(one.paths), "alike": _gain_dict(one.alike)}
                    for one in self.blame.pairs
                ],
            },
            "left_eye_above_right_V": list(self.eye_range),
            "picking": None if self.picking is None else _picking_dict(self.picking),
        }


def _by_name(bench_test: BenchTest) -> dict[str, tuple[float, ...]]:
    demand = bench_test.demand
    found = {}
    for name in FAULTS:
        has = bench_test.as_drawn.has(name)[0]
        if name not in demand.allowed and has.any():
            found[name] = tuple(light for light, is_there in zip(demand.lights, has, strict=True) if is_there)
    return found


def _estimate_dict(one: Estimate) -> Json:
    return asdict(one)


def _gain_dict(gain: Gain) -> Json:
    return {
        "works": _estimate_dict(gain.share),
        "gain": _estimate_dict(gain.gain),
        "mended": gain.mended,
        "broken": gain.broken,
        "p_value": gain.p_value,
        "told": gain.is_told,
        "mends": dict(gain.mends),
    }


def _picking_dict(picking: Picking) -> Json:
    return {
        "measured": picking.is_measured,
        "limit_V": picking.limit,
        "sides_matter": picking.is_handed,
        "straight_by_list": picking.listed,
        "straight_blindly": picking.blind,
        "pairs": [
            {
                "left": pair.left.label,
                "left_V": pair.left.trigger,
                "right": pair.right.label,
                "right_V": pair.right.trigger,
                "difference_V": pair.difference,
                "beside_deg": math.degrees(pair.beside),
                "faults": list(pair.faults),
            }
            for pair in picking.pairs
        ],
        "left_over": [{"eye": eye.label, "trigger_V": eye.trigger} for eye in picking.left_over],
    }


def lights_between(low: float, high: float, count: int) -> tuple[float, ...]:
    """Return ``count`` lights [lx] from ``low`` to ``high``, both included, in even ratios.

    One light where both are the same. Raises OptionError for a range that cannot be.
    """
    if not 0.0 < low <= BRIGHTEST or not 0.0 < high <= BRIGHTEST:
        raise OptionError(f"light from {low:g} lx to {high:g} lx; expected more than 0 lx and at most 1 Mlx")
    if low > high:
        raise OptionError(f"light from {low:g} lx to {high:g} lx; the dimmer one comes first")
    if low == high:
        return (low,)
    if not 2 <= count <= MOST_LIGHTS:
        raise OptionError(f"{count} lights; a range has its two ends at least, and {MOST_LIGHTS} at most")
    inner = [low * (high / low) ** (step / (count - 1)) for step in range(1, count - 1)]
    return (low, *inner, high)


def estimate_yield(
    design: Design,
    demand: Demand,
    copies: int = 1000,
    seed: int = 1,
    kits: int = 30,
    eyes: Sequence[MeasuredEye] | None = None,
    threads: int | None = None,
    tell: Progress | None = None,
    journal: PieceJournal | None = None,
) -> KitYield:
    """Draw ``copies`` of a design and judge them by a demand; the same for any number of ``threads``.

    Copy k is the one that takes part in races with that seed. ``kits`` is how many are to be built, and
    ``eyes`` are measured ones to be paired; without them a bag is drawn from the design's own tolerance.
    Where the design gives its eyes none, the kits' eyes scatter as the measured ones do.
    ``tell`` is called with the share done, 0 to 1; what it raises stops the work within a moment.
    What the ``journal`` of this very work has is not measured again, and all else is kept in it.

    Raises OptionError for numbers that cannot be, and where no part has a tolerance.
    """
    if not 1 <= copies <= MOST_COPIES:
        raise OptionError(f"{copies} copies; expected 1 to {MOST_COPIES}")
    if not 1 <= kits <= MOST_KITS:
        raise OptionError(f"{kits} kits; expected 1 to {MOST_KITS}")
    if eyes is not None:
        design = with_spread_of(design, [eye.trigger for eye in eyes])
    if all(spread.width == 0.0 for spread in design.spreads):
        raise OptionError(
            f"{design.name}: no part has a tolerance, so nothing varies and all kits are alike; give its "
            "parts tolerances under spread:, or measure the one kit with photodrome bench"
        )
    bench_test = BenchTest(design, demand)
    chances = part_chances(design, seed, range(copies))
    values = part_values(design, chances)
    blamed = min(copies, MOST_BLAMED)
    questions = 2 * len(parts_of(design)) + len(pairs_of(design))
    first_share = copies / (copies + questions * blamed)

    def tell_part(start: float, length: float) -> Progress | None:
        return None if tell is None else lambda done: tell(start + length * done)

    # of the copies that are only counted, nobody asks at which quantile their parts were drawn
    chances = chances[:blamed].copy()
    [result] = bench_test.results([values], threads, tell_part(0.0, first_share), journal)
    some = BenchResult(result.faults[:blamed], result.beside[:blamed], result.works[:blamed])
    rest = tell_part(first_share, 1.0 - first_share)
    begun = -(-copies // TOGETHER)
    blamed_parts = blame(bench_test, chances, values[:blamed], some, threads, rest, journal, begun)
    bag = drawn_eyes(bench_test, seed) if eyes is None else list(eyes)
    works = int(np.count_nonzero(result.works))
    return KitYield(
        bench_test,
        seed,
        values,
        result,
        share_of(result.works),
        kits,
        expected_of(works, copies, kits),
        blamed_parts,
        straight_range(bench_test),
        pick(bench_test, bag, eyes is not None) if bag else None,
    )


def write_copies(found: KitYield, path: Path) -> None:
    """Write every copy as a row of CSV: its number, whether it works, its parts, its faults by light.

    Parts in SI units, the lights in the headings in lux, faults divided by semicolons, and how far beside a
    lamp it heads in degrees, empty where it circles. Raises OutputError where it cannot be written.
    """
    result, spreads = found.result, found.bench_test.design.spreads
    lights = [f"{light:.6g}" for light in found.bench_test.demand.lights]
    heads = [f"{spread.path} [{_unit(spread.path)}]".replace(" []", "") for spread in spreads]
    faults_at, beside_at = (
        [f"{what} at {light} lx" for light in lights] for what in ("faults", "beside [deg]")
    )
    names = {bits: ";".join(_names(bits)) for bits in np.unique(result.faults).tolist()}
    with whole_file(path) as stream:
        stream.write(table_line(["copy", "works", *heads, *faults_at, *beside_at]).encode())
        for number, (works, faults) in enumerate(zip(result.works, result.faults, strict=True)):
            angles = np.degrees(result.beside[number]).tolist()
            cells = [
                number,
                int(works),
                *found.values[number].tolist(),
                *(names[bits] for bits in faults.tolist()),
                *("" if math.isnan(angle) else angle for angle in angles),
            ]
            stream.write(table_line(cells).encode())


def _names(bits: int) -> list[str]:
    return [name for number, name in enumerate(FAULTS) if bits >> number & 1]


def _unit(path: str) -> str:
    shape = shape_at(Design, tuple(path.split(".")))
    reader = shape.reader if shape else None
    return getattr(reader, "unit", "")
