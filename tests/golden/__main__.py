"""Run what is kept and tell what moved; take a change over, or see how far the last digit carries.

``python -m tests.golden`` compares. ``--accept "why"`` takes over what the runs come to now and writes a
line with date, what moved and why to CHANGES.md. ``--shake 4`` runs all four times with the capacitances
changed in their last digits, and tells how far scores moved.
"""

# ruff: noqa: T201 - printing is what it is for

import argparse
import dataclasses
import sys

import numpy as np

from arena.scene.contest import Contest
from tests.golden.keeping import CHANGES, KEPT, TOLERANCE, Kept, accept, moved_scores, read_kept, what_moved
from tests.golden.runs import contests, machine_kind, outcome

# Share by which a capacitance is changed at the most.
SHAKE = 1e-13


def main() -> int:
    """Return 0 if all is as kept, or has been taken over."""
    parser = argparse.ArgumentParser(prog="python -m tests.golden", description=__doc__)
    parser.add_argument("--accept", metavar="WHY", help="Take over what moved, for this reason.")
    parser.add_argument("--shake", metavar="TIMES", type=int, default=0)
    asked = parser.parse_args()
    if asked.accept is not None and not asked.accept.strip():
        parser.error("say why what moved is to be taken over")
    if asked.shake:
        return shake(asked.shake)
    kept = read_kept() if KEPT.exists() else None
    kind = machine_kind()
    found = {}
    for name, contest in contests():
        found[name] = outcome(contest, threads=1)
        if outcome(contest, threads=2) != found[name]:
            print(f"{name}: with two threads it is not what it is with one")
            return 1
        for line in what_moved(kept, name, found[name], kind) if kept else ():
            print(line)
    if asked.accept is not None:
        print(accept(kept, found, kind, asked.accept, KEPT, CHANGES) or "no score moved")
        return 0
    if kept is None:
        print("nothing is kept yet")
        return 1
    moved = sum(bool(what_moved(kept, name, one, kind)) for name, one in found.items())
    gone = sorted(set(kept.scores) - set(found))
    known = "bits and scores" if kind in kept.digests else "scores, on a new kind of machine,"
    print(f"{kind}: {known} of {len(found) - moved} of {len(found)} runs are as kept")
    if gone:
        print(f"there is no run any more of what is kept as {', '.join(gone)}")
    return int(bool(moved or gone))


def shake(times: int) -> int:
    """Tell how far scores move when the last digits do; 1 if by more than they may on another machine."""
    worst = 0.0
    for name, contest in contests():
        still = outcome(contest, threads=2)
        asked = Kept({}, {name: still.scores})
        shaken = [outcome(_shaken(contest, draw), threads=2) for draw in range(times)]
        moves = [move for one in shaken for move in moved_scores(asked, name, one, 0.0)]
        same = sum(one.digest == still.digest for one in shaken)
        worst = max([worst, *(move.by for move in moves)])
        most = f"; most {max(moves, key=lambda move: move.by)}" if moves else ""
        print(f"{name}: {same} of {times} the same to every bit{most}")
    print(f"no score moved by more than {worst:.2g} of itself")
    return int(worst > TOLERANCE)


def _shaken(contest: Contest, draw: int) -> Contest:
    luck = np.random.default_rng(draw)
    entrants = []
    for one in contest.entrants:
        storage = one.design.storage.capacitance * (1.0 + luck.uniform(-SHAKE, SHAKE))
        shaken = one.design.with_values({"storage.capacitance": storage})
        entrants.append(dataclasses.replace(one, design=shaken))
    return dataclasses.replace(contest, entrants=tuple(entrants))


if __name__ == "__main__":
    sys.exit(main())
