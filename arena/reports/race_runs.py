"""Of every entry of a race the run that is told of it, and the account of why it came out so.

That is its last one; where a round has several for it, as with pairs or a relay, the one in which it did
worst.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from arena.accounts.telling import Account
from arena.races.heat_accounts import accounts_of_heat
from arena.races.heat_running import HeatRun, HeatTerms, run_heat
from arena.races.race_setup import RaceSetup
from arena.races.results import Finish, RaceResults, Round
from replays.format.replay_file import read_replay
from replays.format.tables import Replay

Tell = Callable[[float], None]


@dataclass(frozen=True)
class ShownRun:
    """A run of an entry: its round, its heat there, from 0, its course by number, its finish, and its replay.

    ``replay``, ``walker`` and ``account`` are None for one whom the model lost.
    """

    round: Round
    heat: int
    course: int
    finish: Finish
    replay: Replay | None
    walker: int | None
    account: Account | None

    def as_dict(self) -> dict[str, Any]:
        """The account for JSON; ``heat`` counts from 0, ``round`` from 1."""
        where = {"entry": self.finish.entry, "round": self.round.number, "heat": self.heat}
        return {**where, "course": self.course, **({} if self.account is None else self.account.as_dict())}


def shown_runs(
    setup: RaceSetup, results: RaceResults, tries: int, threads: int, tell: Tell
) -> dict[int, ShownRun]:
    """The run that is told of each entry, by its number, with its account.

    ``tries`` changes are tried for each.

    Replays that were not kept are run anew, which gives the same. ``tell`` is called with the share done.
    """
    groups: dict[tuple[int, int], list[int]] = {}
    for entry in results.entries:
        place = _last_run(results.rounds, entry.number)
        if place is not None:
            groups.setdefault(place, []).append(entry.number)
    found: dict[int, ShownRun] = {}
    for (number, heat), entries in sorted(groups.items()):
        round_ = results.rounds[number]
        _, heats = setup.round_terms(number, results.rounds)
        _, terms = heats[heat]
        replays = _replays(results, round_, heat, terms, threads)
        finishes = {done.entry: done for done in round_.heats[heat].finishes}
        begun = len(found) / len(results.entries)

        def told(share: float, begun: float = begun, some: int = len(entries)) -> None:
            tell(begun + share * some / len(results.entries))

        run = HeatRun(round_.heats[heat].finishes, replays)
        accounts = accounts_of_heat(terms, run, tries, threads, told, entries)
        for one in entries:
            finish = finishes[one]
            replay = _stage_of(finish, replays, terms)
            walker = None if replay is None else _walker(replay, results.entries[one].name)
            found[one] = ShownRun(
                round_,
                heat,
                round_.heats[heat].course,
                finish,
                None if walker is None else replay,
                walker,
                accounts.get(one),
            )
    return found


def _last_run(rounds: Sequence[Round], entry: int) -> tuple[int, int] | None:
    """Number of the last round, from 0, in which an entry ran, and of the heat in which it did worst."""
    for number in range(len(rounds) - 1, -1, -1):
        ran = [
            (one.place / len(heat.finishes), -position)
            for position, heat in enumerate(rounds[number].heats)
            for one in heat.finishes
            if one.entry == entry
        ]
        if ran:
            return number, -max(ran)[1]
    return None


def _replays(
    results: RaceResults, round_: Round, heat: int, terms: HeatTerms, threads: int
) -> tuple[Replay, ...]:
    """The replays of a race of a round, one a stage of its light."""
    kept = {one.stage: one.path for one in results.replays if (one.round, one.heat) == (round_.number, heat)}
    if set(kept) == set(range(len(terms.course.dims))):
        return tuple(read_replay(kept[stage]) for stage in sorted(kept))
    return run_heat(terms, threads, keep=True).replays


def _stage_of(finish: Finish, replays: Sequence[Replay], terms: HeatTerms) -> Replay | None:
    """The replay of the stage in which it moved last; None where there is none of it."""
    if not replays:
        return None
    stage = int(max(finish.moved_s, 0.0) // terms.course.seconds)
    return replays[min(stage, len(replays) - 1)]


def _walker(replay: Replay, name: str) -> int | None:
    if name not in replay.design_names:
        return None
    found = np.flatnonzero(replay.walkers["design"] == replay.design_names.index(name))
    return int(found[0]) if len(found) else None
