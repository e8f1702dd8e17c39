"""What each tolerance of the engine costs in error and in time: ``python -m tests.benchmarks.convergence``.

Copies of a design walk each shipped arena, each by itself, with the usual tolerances and with some of them
halved or doubled; the luck is the same. So they do with the tolerance of a pulse's steps halved and, their
parts all as told, with free pulses stepped that are looked up otherwise. Told of each are the time it takes
as a ratio to the usual ones, how far from their usual places walkers are after their fifth pulse (later on, a
walk that passes an edge of a shadow otherwise goes elsewhere, as it would with other luck), and by how much
the mean of a score moves at the most, as a share of the half width of its own 95 % interval.
"""

# ruff: noqa: T201 - printing is what it is for

import argparse
import math
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from unittest.mock import patch

import numpy as np

from agents.design import as_built
from agents.text.shipped import shipped_names
from arena.engine import looked_up
from arena.engine.tolerances import USUAL, Tolerances
from arena.scene.contest import read_contest
from arena.scene.spec import read_arena
from arena.simulation import simulate
from replays.format.tables import Replay
from replays.scoring.confidence_intervals import mean_interval
from replays.scoring.measures import measure

# Scores of each walker by their names in Measures, or worked out here.
SCORES = ("pulses", "progress", "light_gain", "directness", "stuck_s", "path")
# Places after so many pulses are compared.
PULSES = 5

GROUPS: Mapping[str, tuple[str, ...]] = {
    "contacts": ("stride", "stride_time"),
    "looks": ("look_way", "look_time", "look_after"),
    "arcs": ("arc", "pace", "sag"),
    "light on the way": ("light_after", "light_way", "light_time"),
}


def scaled(names: Sequence[str], factor: float) -> Tolerances:
    """The usual tolerances, but those of these names so many times as large."""
    return replace(USUAL, **{name: factor * getattr(USUAL, name) for name in names})


@dataclass(frozen=True)
class Walks:
    """Scores of each walker (walkers,) by name, where it is after its first pulses, and the time it took."""

    scores: dict[str, np.ndarray]
    places: np.ndarray
    seconds: float


def walks(arena: str, tolerances: Tolerances, walkers: int, lasts: float, exact: bool = False) -> Walks:
    """Let ``walkers`` copies of poppy walk an arena alone for a while [s], or more in several rounds.

    Where places are listed, so many start in a round. Their parts are drawn, unless they are ``exact``.
    """
    places = read_arena(arena).starts.places
    at_once = walkers if places is None else min(walkers, len(places))
    replays, spent = [], 0.0
    for seed in range(math.ceil(walkers / at_once)):
        contest = read_contest(arena, ["poppy"], walkers=at_once, seconds=lasts, seed=seed, alone=True)
        if exact:
            (entrant,) = contest.entrants
            alike = entrant.design.model_copy(update={"spread": {}})
            contest = replace(contest, entrants=(replace(entrant, design=alike),))
        begun = time.process_time()
        replays.append(simulate(contest, threads=1, tolerances=tolerances))
        spent += time.process_time() - begun
    scores = [scores_of(replay) for replay in replays]
    return Walks(
        {name: np.concatenate([one[name] for one in scores]) for name in SCORES},
        np.concatenate([places_of(replay) for replay in replays]),
        spent,
    )


def scores_of(replay: Replay) -> dict[str, np.ndarray]:
    """Scores of each walker by name."""
    measures = measure(replay, replay.goals, replay.seconds, np.zeros(1, np.int64))
    path = np.bincount(replay.pulses["walker"], replay.pulses["path_m"], len(replay.walkers))
    return {name: path if name == "path" else getattr(measures, name).astype(float) for name in SCORES}


def places_of(replay: Replay) -> np.ndarray:
    """Where each walker is after its first pulses, (walkers, 2) [m]; nan where it has made fewer."""
    places = np.full((len(replay.walkers), 2), np.nan)
    for number in range(len(places)):
        own = replay.pulses[replay.pulses["walker"] == number]
        if len(own) >= PULSES:
            places[number] = own["x1"][PULSES - 1], own["y1"][PULSES - 1]
    return places


def moved(usual: Walks, other: Walks) -> dict[str, float]:
    """By how much each score's mean moves, as a share of the half width of its usual interval."""
    found = {}
    for name in SCORES:
        known = ~np.isnan(usual.scores[name]) & ~np.isnan(other.scores[name])
        values = usual.scores[name][known]
        interval = mean_interval(values)
        if interval is None or interval[1] - interval[0] < 1e-9:
            continue
        difference = float(other.scores[name][known].mean() - values.mean())
        found[name] = abs(difference) / (0.5 * (interval[1] - interval[0]))
    return found


def astray(usual: Walks, other: Walks) -> float:
    """How far from their usual places half of the walkers are at the most [mm], after their first pulses."""
    gone = np.hypot(*(other.places - usual.places).T)
    return 1e3 * float(np.nanmedian(gone)) if np.isfinite(gone).any() else math.nan


def main(arguments: Sequence[str] | None = None) -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--quick", action="store_true", help="two arenas and few walkers")
    quick = parser.parse_args(arguments).quick
    arenas = ["slalom", "corner-trap"] if quick else shipped_names("arena")
    walkers, lasts = (6, 120.0) if quick else (40, 600.0)
    cases = {f"{name} halved": scaled(names, 0.5) for name, names in GROUPS.items()}
    cases |= {f"{name} doubled": scaled(names, 2.0) for name, names in GROUPS.items()}
    cases |= {
        "all halved": USUAL.times(0.5),
        "all a quarter": USUAL.times(0.25),
        "all doubled": USUAL.times(2.0),
    }
    walks(arenas[0], USUAL, 1, 10.0)
    usual = {arena: walks(arena, USUAL, walkers, lasts) for arena in arenas}
    print(f"{'tolerances':<28}{'time':>7}{'astray':>11}   worst of all scores, of their intervals")
    for name, tolerances in cases.items():
        show(name, usual, {arena: walks(arena, tolerances, walkers, lasts) for arena in arenas})
    with patch.object(as_built, "TOLERANCE", 0.5 * as_built.TOLERANCE):
        show(
            "steps of pulses halved", usual, {arena: walks(arena, USUAL, walkers, lasts) for arena in arenas}
        )
    with patch.object(looked_up, "LEAST_TIME", 0.0):
        told = {arena: walks(arena, USUAL, walkers, lasts, exact=True) for arena in arenas}
    with patch.object(looked_up, "LEAST_TIME", math.inf):
        stepped = {arena: walks(arena, USUAL, walkers, lasts, exact=True) for arena in arenas}
        show("stepped, not looked up", told, stepped)
        with patch.object(as_built, "TOLERANCE", 0.5 * as_built.TOLERANCE):
            finer = {arena: walks(arena, USUAL, walkers, lasts, exact=True) for arena in arenas}
        show("stepped, and halved", told, finer)


def show(name: str, usual: Mapping[str, Walks], others: Mapping[str, Walks]) -> None:
    """Print a line: what walks by arena come to, compared with the ``usual`` ones."""
    ratio = sum(one.seconds for one in others.values()) / sum(one.seconds for one in usual.values())
    places = [astray(usual[arena], others[arena]) for arena in usual]
    middle = np.nanmedian(places) if np.isfinite(places).any() else math.nan
    worst = max(
        (share, arena, score)
        for arena in usual
        for score, share in moved(usual[arena], others[arena]).items()
    )
    print(f"{name:<28}{ratio:>7.2f}{middle:>8.2f} mm   {worst[0]:.2f} ({worst[2]} in {worst[1]})", flush=True)


if __name__ == "__main__":
    main()
