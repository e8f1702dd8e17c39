"""How far pulses are off: ``python -m tests.benchmarks.pulses`` (``--designs 200``, ``--worst 10``).

Follows the named cases and all that is drawn, free and with the whisker pressed, by the kernels and by the
node equations of the whole circuit, on all cores, and prints for each kind of pulse how the errors of length,
let-go, charge and way are spread, and the worst by name. It takes about half a second a pulse and core.
"""

# ruff: noqa: T201 - printing is what it is for

import argparse
import os
import sys
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor

import numpy as np

from tests.helpers.drawn_pulses import (
    BOUNDS,
    QUANTITIES,
    Case,
    Numbers,
    drawn_cases,
    errors,
    excess,
    named_cases,
)

Row = tuple[str, str, Numbers, Numbers]


def follow(case: Case) -> Row:
    """Name, kind, errors and the reference's numbers of a case."""
    expected = case.pulse()
    got, locked = case.by_kernels()
    kind = case.kind(expected)
    if locked != expected.locked:
        return case.name, kind, (np.inf,) * 4, expected.numbers
    return case.name, kind, errors(got, expected.numbers), expected.numbers


def tell(kind: str, rows: Sequence[Row], worst: int) -> int:
    """Print how one kind of pulse came out; returns how many are beyond its bounds."""
    off = np.abs([row[2] for row in rows])
    print(f"\n{kind}: {len(rows)} pulses, off by [%]")
    print("          median    90 %    99 %    most   within")
    for place, quantity in enumerate(QUANTITIES):
        column, bound = off[:, place], BOUNDS[kind][place]
        figures = [*np.quantile(column, [0.5, 0.9, 0.99]), column.max()]
        within = f"{np.sum(column <= bound)} of {len(column)} ({100 * bound:g} %)" if bound < np.inf else "-"
        print(f"{quantity:8s}" + "".join(f"{100 * figure:8.3f}" for figure in figures) + f"   {within}")
    order = sorted(rows, key=lambda row: -excess(kind, row[2]))
    for name, _, share, numbers in order[:worst]:
        told = " ".join(f"{100 * one:+8.2f}" for one in share)
        print(f"  {name:42s} {told}   {1e3 * numbers[0]:.4g} ms, lets go at {numbers[1]:.3f} V")
    return sum(excess(kind, row[2]) > 1.0 for row in rows)


def main(arguments: Sequence[str] | None = None) -> int:
    """Print all of it; returns how many pulses are beyond the bounds of their kind."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--designs", type=int, default=200)
    parser.add_argument("--worst", type=int, default=10)
    options = parser.parse_args(arguments)
    cases = named_cases() + drawn_cases(options.designs)
    with ProcessPoolExecutor(os.cpu_count()) as pool:
        rows = list(pool.map(follow, cases, chunksize=4))
    beyond = 0
    for kind in BOUNDS:
        some = [row for row in rows if row[1] == kind]
        if some:
            beyond += tell(kind, some, options.worst)
    print(f"\n{beyond} of {len(rows)} pulses beyond the bounds of their kind")
    return beyond


if __name__ == "__main__":
    sys.exit(1 if main() else 0)
