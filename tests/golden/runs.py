"""The runs that are kept and what each comes to, bits and scores.

They are each shipped arena twice, the demo, and walkers alike, so many that their pulses are looked up.

What decides the bits, beside the program, is the machine's kind. Kernels add and multiply as IEEE 754 says,
in the order in which they are written, on any processor. But exp, log, sin, cos and pow come from the
system's mathematical library, which goes other ways on processors with fused multiply-add, and from numpy,
which goes others for each width of its vectors; their last digit differs. So bits are compared on machines
of one kind only, and scores on all, within ``TOLERANCE`` of :mod:`tests.golden.keeping`.

Walkers that push against one another magnify the last digit until it shows in a score. These runs are so
short that it does not: with every capacitance off by up to 1e-13 of itself no score moved by 1e-8 of itself
(``python -m tests.golden --shake 4``), where in 20 minutes some moved altogether.
"""

import hashlib
import math
import platform
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from llvmlite.binding import get_host_cpu_features

from agents.compiled import PLAIN
from agents.text.shipped import shipped_names
from arena.cli.contest_commands import DEMO_ARENA, DEMO_DESIGNS
from arena.engine.looked_up import LEAST_TIME
from arena.scene.contest import Contest, read_contest
from arena.simulation import simulate
from replays.format.tables import Replay
from replays.scoring.scores import score

SEED = 14
SECONDS = 300.0
# before the sun is over the hedge nobody stirs; on the sill all soon push against one another
OTHERWISE = {"yard-day": 3600.0, "south-sill": 120.0}
DEMO, ALIKE = "demo", "alike"

VECTORS = ("fma", "avx2", "avx512f", "avx512dq", "neon", "sve")
TABLES = ("walkers", "built", "pulses", "poses", "touches", "lights", "ledger")
FIGURES = (
    "pulses",
    "reached",
    "median_reach_s",
    "progress",
    "light_gain",
    "hardly_moved",
    "directness",
    "median_turn_deg",
    "aim",
    "aim_resultant",
    "contacts",
    "shades",
    "escape_share",
    "median_escape_s",
    "stuck_share",
)
"""Scores that are kept: all but those which follow from these."""

Figures = dict[str, float | None]


@dataclass(frozen=True)
class Outcome:
    """What a run came to: the digest of all that it wrote, and the scores of each design by their names."""

    digest: str
    scores: dict[str, Figures]


def contests() -> Iterator[tuple[str, Contest]]:
    """Each run by its name: ``slalom alone``, in which every shipped design runs, ``slalom together``, …

    In ``alike`` they have the very parts of their file.
    """
    for arena in shipped_names("arena"):
        seconds = OTHERWISE.get(arena, SECONDS)
        yield f"{arena} alone", read_contest(arena, shipped_names("design"), 1, seconds, SEED, alone=True)
        yield f"{arena} together", read_contest(arena, DEMO_DESIGNS, 2, seconds, SEED)
    yield DEMO, read_contest(DEMO_ARENA, DEMO_DESIGNS, seconds=2 * SECONDS)
    alike = read_contest(
        DEMO_ARENA, DEMO_DESIGNS[:1], math.ceil(LEAST_TIME / SECONDS), SECONDS, SEED, alone=True
    )
    (one,) = alike.entrants
    exact = replace(one, design=one.design.model_copy(update={"spread": {}}))
    yield ALIKE, replace(alike, entrants=(exact,))


def outcome(contest: Contest, threads: int) -> Outcome:
    """Run a contest and tell what it came to."""
    return outcome_of(simulate(contest, threads))


def outcome_of(replay: Replay) -> Outcome:
    """What a replay came to."""
    digest = hashlib.sha256()
    for name in TABLES:
        table = getattr(replay, name)
        digest.update(f"{name} {table.shape} {table.dtype}\n".encode())
        digest.update(np.ascontiguousarray(table).tobytes())
    scores = {one.design: {name: getattr(one, name) for name in FIGURES} for one in score(replay)}
    return Outcome(digest.hexdigest()[:32], scores)


def machine_kind() -> str:
    """In words, what beside the program decides the last digits of a run.

    Python, numpy and numba are left out: whatever they move is to be seen.
    """
    features = get_host_cpu_features()
    vectors = " ".join(name for name in VECTORS if features.get(name))
    library = " ".join(platform.libc_ver()) or platform.release()
    return f"{platform.system()} {platform.machine()}, {library}, {vectors}{', plain Python' * PLAIN}"
