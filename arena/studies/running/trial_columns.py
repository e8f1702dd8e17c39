"""The row of TRIAL that a trial leaves behind, from what was measured of its walkers."""

import math
from typing import Any

import numpy as np
import numpy.typing as npt

from agents.arrays import FloatArray, IntArray
from replays.scoring.crowd_measures import CrowdFloor, CrowdMeasures, jain_index, passing, spread_of
from replays.scoring.measures import Measures


def trial_columns(measures: Measures, trials: int) -> dict[str, FloatArray]:
    """The columns of TRIAL, each (trials,); what measures call a design is a trial here."""
    design = measures.design
    count = len(design) // trials

    def summed(of_trial: IntArray, values: npt.NDArray[Any] | None = None) -> FloatArray:
        sums: FloatArray = np.zeros(trials)
        sums += np.bincount(of_trial, weights=values, minlength=trials)
        return sums

    def median(values: FloatArray) -> FloatArray:
        # nan comes last
        ordered = np.sort(values.reshape(trials, count), axis=1)
        defined = np.count_nonzero(~np.isnan(ordered), axis=1)
        every = np.arange(trials)
        return 0.5 * (ordered[every, (defined - 1) // 2] + ordered[every, defined // 2])

    reached = ~np.isnan(measures.reach_s)
    has_goal = bool(measures.has_goal.all())
    moved = ~np.isnan(measures.directness)
    with np.errstate(invalid="ignore"):
        directness = summed(design[moved], measures.directness[moved]) / summed(design[moved])
    with_way = ~np.isnan(measures.progress)
    with np.errstate(invalid="ignore"):
        progress = summed(design[with_way], measures.progress[with_way]) / summed(design[with_way])
    contact, shade = measures.is_contact, ~measures.is_contact
    in_contact, in_shade = measures.episode_design[contact], measures.episode_design[shade]
    nowhere = np.full(trials, np.nan)
    return {
        "reached": summed(design, reached) / count if has_goal else nowhere,
        "reach_s": median(np.where(reached, measures.reach_s, np.inf)) if has_goal else nowhere,
        "progress": progress if has_goal else nowhere,
        "light_gain": median(measures.light_gain),
        "directness": directness,
        "aim_sum": summed(measures.aim_design, np.cos(measures.aim_angle)),
        "aims": summed(measures.aim_design),
        "contacts": summed(in_contact),
        "escapes": summed(in_contact, measures.escaped[contact]),
        "held_s": summed(design, measures.held_s),
        "shades": summed(in_shade),
        "shade_escapes": summed(in_shade, measures.escaped[shade]),
        "stuck_s": summed(design, measures.stuck_s),
        "walk_s": summed(design, measures.walk_s),
        "pulses": summed(design, measures.pulses),
        "walkers": np.full(trials, float(count)),
        "impossible": np.zeros(trials),
    }


def crowd_columns(crowd: CrowdMeasures, floor: CrowdFloor, trials: int) -> dict[str, FloatArray]:
    """The columns of TRIAL that tell of walkers among others, each (trials,); a heat is a trial here."""
    count = len(crowd.heat) // trials

    def of_trials(values: npt.NDArray[Any]) -> FloatArray:
        return values.reshape(trials, count).astype(np.float64)

    light, clear = of_trials(crowd.light), of_trials(crowd.clear_light)
    places = crowd.places.reshape(trials, count, -1, 2)
    radius = of_trials(crowd.radius).mean(axis=1)
    spread, evenness = np.full(trials, np.nan), np.full(trials, np.nan)
    if count > 1:
        for trial in range(trials):
            spread[trial] = spread_of(places[trial], float(radius[trial]), floor.standable)
            evenness[trial] = jain_index(light[trial])
    passed, passages, passing_min = (np.full(trials, np.nan) for _ in range(3))
    if floor.gates:
        times = crowd.passed_s.reshape(trials, count, -1)
        passed = (~np.isnan(times)).mean(axis=(1, 2))
        for trial in range(trials):
            flows = [passing(times[trial, :, gate], crowd.seconds) for gate in range(times.shape[2])]
            passages[trial] = math.fsum(events for events, _ in flows)
            passing_min[trial] = math.fsum(lasted for _, lasted in flows) / 60.0
    return {
        "gathered": of_trials(crowd.gathered).mean(axis=1),
        "spread": spread,
        "meetings": of_trials(crowd.meetings).sum(axis=1),
        "beside_s": of_trials(crowd.beside_s).sum(axis=1),
        "walker_s": np.full(trials, count * crowd.seconds),
        "walker_min": np.full(trials, count * crowd.seconds / 60.0),
        "lost_light": (clear - light).sum(axis=1),
        "clear_light": clear.sum(axis=1),
        "panel_lx": light.mean(axis=1) / crowd.seconds,
        "evenness": evenness,
        "passed": passed,
        "passages": passages,
        "passing_min": passing_min,
    }
