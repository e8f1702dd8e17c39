"""How far each pulse turned its walker, whole turns counted.

A replay keeps headings as directions, from which nobody could tell a walker that turned twice round from one
that stood. Between them lie its poses, at most 0.09 rad apart while it turns.
"""

import math

import numpy as np

from agents.arrays import FloatArray, RecordArray
from replays.format.tables import Tables

# Of a pulse that goes on for long, poses are seldom; between two that are farther apart than this [s] it may
# have turned by more than half round, and then goes on in its own direction.
_SELDOM = 0.1
# What is left of such a turn after whole ones may lie this little [rad] on the other side of nought.
_BACK = 0.1
_ROUND = 2.0 * math.pi


def whole_turns(tables: Tables) -> FloatArray:
    """Turn of each pulse [rad], (pulses,): anticlockwise positive, from firing to rest, whole turns counted.

    Exact but for what the poses cannot tell: a walker that turns more than once round between two of them.
    """
    pulses, poses = tables.pulses, tables.poses
    turns = np.zeros(len(pulses))
    order = np.argsort(pulses["walker"], kind="stable")
    count = len(tables.walkers)
    own_pulses = np.searchsorted(pulses["walker"][order], np.arange(count + 1))
    own_poses = np.searchsorted(poses["walker"], np.arange(count + 1))
    for walker in np.unique(pulses["walker"]).tolist():
        mine = order[own_pulses[walker] : own_pulses[walker + 1]]
        rows = poses[own_poses[walker] : own_poses[walker + 1]]
        turns[mine] = turns_of_walker(pulses[mine], rows)
    return turns


def turns_of_walker(pulses: RecordArray, rows: RecordArray) -> FloatArray:
    """As :func:`whole_turns`, for the ``pulses`` and poses (``rows``) of one walker in order of time."""
    turns = _wrapped(pulses["heading1"] - pulses["heading0"])
    # poses are kept with fewer digits than the headings of pulses
    return turns + _ROUND * np.round((_turned(pulses, rows) - turns) / _ROUND)


def _wrapped(angles: FloatArray) -> FloatArray:
    """``angles`` [rad] within half a turn of nought."""
    wrapped: FloatArray = angles - _ROUND * np.round(angles / _ROUND)
    return wrapped


def _turned(pulses: RecordArray, rows: RecordArray) -> FloatArray:
    """Turn of each of one walker's ``pulses`` [rad], summed along its poses, ``rows``."""
    times, headings = rows["time_s"], rows["heading"].astype(np.float64)
    first = np.searchsorted(times, pulses["start_s"], side="left")
    last = np.searchsorted(times, pulses["rest_s"], side="right") - 1
    steps = _wrapped(np.diff(headings))
    along = np.concatenate(([0.0], np.cumsum(steps)))
    inner = last >= first
    whole = _wrapped(pulses["heading1"] - pulses["heading0"])
    a, b, some = first[inner], last[inner], pulses[inner]
    begun, ended = _wrapped(headings[a] - some["heading0"]), _wrapped(some["heading1"] - headings[b])
    whole[inner] = begun + along[b] - along[a] + ended
    for number in np.flatnonzero(inner).tolist():
        # rare: only a pulse that goes on for seconds has poses that seldom
        if pulses["rest_s"][number] - pulses["start_s"][number] > 1.0:
            between = slice(int(first[number]), int(last[number]))
            whole[number] += _more_than_half(np.diff(times)[between], steps[between])
    return whole


def _more_than_half(spans: FloatArray, steps: FloatArray) -> float:
    """What steps over long ``spans`` [s] turned beyond what is left of them without whole turns [rad]."""
    seldom = spans > _SELDOM
    ahead = float(np.sign(steps[~seldom].sum()))
    # standing shows as no turn at all, whichever way it went before
    against = seldom & (ahead * steps < -_BACK)
    return ahead * _ROUND * int(np.count_nonzero(against))
