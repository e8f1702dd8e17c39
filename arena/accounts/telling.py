"""Accounts: of every walker of a race where its time went, what decided, and which one change gains most.

A change is not guessed: each is tried in the same race, with the same luck, and only that one entry changed.
Where all share a floor, every change is first tried with the walker by itself, which is quick, and the few
that did best there then in the whole race; only what came out of that is told. Where each has the arena to
itself, the one is the other.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from agents.design.spec import Design
from agents.errors import ModelError
from agents.testbench.fault_causes import fault_cause
from agents.testbench.faults import fault_title
from agents.text.units import format_quantity
from arena.accounts.changes_to_try import RaceChange, changes_to_try, values_as_text
from arena.accounts.line_up import LineUp
from arena.accounts.outcomes import (
    LEAST_GAIN,
    Deed,
    Judge,
    Outcome,
    first_of,
    outcomes_of,
    usual_judge,
)
from replays.causes.bench_faults import EntryBench, last_lights, median_lights, on_bench
from replays.causes.decisive_pulses import AHEAD, BEHIND, Deciding, Decision
from replays.causes.traces import Circuits
from replays.format.tables import Replay
from replays.scoring.time_shares import (
    CHARGING,
    IN_SHADE,
    LATCHED,
    MOVING,
    ON_WALLS,
    SILENT,
    TURNING_PAST,
    TimeUse,
    time_use,
)
from replays.words import light_words, time_words

TRIES = 40
"""Changes tried for each walker, if nobody says how many."""

FINALISTS = 4
"""Changes that are tried in the whole race, where all share the floor."""

_SORT_WORDS = {
    LATCHED: "with the latch held on",
    SILENT: "silent",
    ON_WALLS: "against walls or others",
    IN_SHADE: "in shade",
    TURNING_PAST: "turning past the light",
    MOVING: "moving",
    CHARGING: "charging",
}


@dataclass(frozen=True)
class TriedChange:
    """A change as it was tried, in words, and the ``values`` by path that a design's file says for it."""

    text: str
    values: dict[str, str]


@dataclass(frozen=True)
class Account:
    """Why one walker, by its number in the replay, fared as it did.

    ``shares`` of its time by sort (:mod:`replays.scoring.time_shares`) add up to 1; empty where it started in
    a goal. ``decisive_pulse`` counts its pulses in the replay from 0; it and ``decisive_time`` [s] are None
    where it never fired. ``light_lx`` [lx] is the light on its panel in which the bench finds the ``faults``.
    ``change`` is the one of ``tried`` changes that gains most and ``gain`` what comes of it; None where none
    gains anything worth telling. ``sentences`` say all that, in three at the most.
    """

    walker: int
    name: str
    outcome: Outcome
    shares: dict[str, float]
    cause: str
    decisive_pulse: int | None
    decisive_time: float | None
    light_lx: float
    faults: tuple[str, ...]
    change: TriedChange | None
    gain: Outcome | None
    tried: int
    sentences: tuple[str, ...]

    def as_dict(self) -> dict[str, Any]:
        """The account for JSON."""
        change = None if self.change is None else {"text": self.change.text, "values": self.change.values}
        return {
            "walker": self.walker,
            "name": self.name,
            "outcome": self.outcome.as_dict(),
            "shares": self.shares,
            "cause": self.cause,
            "decisive_pulse": self.decisive_pulse,
            "decisive_time_s": self.decisive_time,
            "light_lx": self.light_lx,
            "faults": list(self.faults),
            "change": change,
            "gain": None if self.gain is None else self.gain.as_dict(),
            "tried": self.tried,
            "sentences": list(self.sentences),
        }


@dataclass(frozen=True)
class Meet:
    """A race of which a line-up is only a part, as where the light dims in stages.

    ``outcomes`` are those of the whole, (walkers,); ``again`` gives the outcome of the whole for a walker, by
    its number, whose entry has another design, or None where the model cannot follow it. The part that the
    line-up is begins at ``since_s`` [s] of the whole, and is called ``part``, like *its last stage*.
    """

    outcomes: tuple[Outcome, ...]
    again: Callable[[int, Design], Outcome | None]
    since_s: float
    part: str


def accounts_of(
    line: LineUp,
    replay: Replay,
    walkers: Sequence[int] | None = None,
    judge: Judge | None = None,
    names: Sequence[str] | None = None,
    tries: int = TRIES,
    threads: int = 1,
    progress: Callable[[float], None] | None = None,
    meet: Meet | None = None,
    by: str | None = None,
) -> list[Account]:
    """Account for ``walkers`` of a race, all by default, from its line-up and its replay.

    ``judge`` says what counts (:func:`~arena.accounts.outcomes.usual_judge` by default), ``names`` what each
    is called, ``tries`` how many changes are tried for each; 0 tries none. ``progress`` is called with the
    share done, and may raise to stop. ``meet`` is the whole of which this race is a part, ``by`` what
    counts (:class:`~replays.causes.decisive_pulses.Deciding`). The same for any
    number of ``threads``.

    >>> from arena import read_contest, simulate
    >>> from arena.accounts.line_up import line_up
    >>> contest = read_contest("open-bench", ["poppy", "thistle-spins"], walkers=1, seconds=2700)
    >>> poppy, thistle = accounts_of(line_up(contest), simulate(contest), tries=8)
    >>> poppy.outcome.words, thistle.faults
    ('1st of 2', ('spin',))
    >>> thistle.change is not None and thistle.change.text
    'a storage capacitor of 2200 uF in place of 4700 uF'
    """
    chosen = range(len(line.entry)) if walkers is None else walkers
    teller = _Teller(line, replay, judge, names, threads, meet, by)
    found = []
    for done, walker in enumerate(chosen):
        if progress is not None:
            progress(done / len(chosen))
        found.append(teller.account(walker, tries))
    return found


class _Teller:
    """Accounts for the walkers of one race."""

    def __init__(
        self,
        line: LineUp,
        replay: Replay,
        judge: Judge | None,
        names: Sequence[str] | None,
        threads: int,
        meet: Meet | None,
        by: str | None,
    ) -> None:
        self._line, self._replay, self._threads = line, replay, threads
        self._judge = judge or usual_judge(line.goals, line.seconds)
        self._names = names or walker_names(replay)
        deeds = self._judge(replay)
        self._deeds: list[Deed] = deeds
        self._meet = meet
        self._outcomes = outcomes_of(deeds, line.groups) if meet is None else list(meet.outcomes)
        first = first_of([one.deed for one in self._outcomes], line.groups)
        self._use: TimeUse = time_use(replay)
        self._deciding = Deciding(replay, self._use, first, line.groups, self._names, by)
        self._circuits = Circuits(replay)

    def account(self, walker: int, tries: int) -> Account:
        decision = self._deciding.of(walker)
        seen = self._seen(walker, decision)
        tried, best = 0, None
        if tries > 0:
            hungry = decision.cause == BEHIND and self._outcomes[walker].deed.reach_s is None
            tried, best = self._best_change(walker, seen, tries, hungry)
        change = gain = None
        if best is not None:
            design = self._line.designs[self._line.entry[walker]]
            change = TriedChange(best[0].text, values_as_text(design, best[0].values))
            gain = best[1]
        shares = self._use.of(walker) if self._use.walk_s[walker] > 0.0 else {}
        outcome = self._outcomes[walker]
        sentences = [
            _time_sentence(outcome, shares, "the time" if self._meet is None else self._meet.part),
            self._decision_sentence(decision, seen[0]),
        ]
        if tried:
            sentences.append(_change_sentence(best, tried, change))
        return Account(
            walker,
            self._names[walker],
            outcome,
            shares,
            decision.cause,
            decision.number,
            decision.time_s,
            seen[0].light_lx,
            seen[0].faults or (),
            change,
            gain,
            tried,
            tuple(sentences),
        )

    def _seen(self, walker: int, decision: Decision) -> list[EntryBench]:
        """The design on the bench in the light that decided, and in the one that it mostly had."""
        design = int(self._replay.walkers["design"][walker])
        lights = [median_lights(self._replay, [walker], self._use.walk_s)]
        if decision.cause == SILENT:
            lights.insert(0, last_lights(self._replay, walker))
        return [on_bench(self._circuits, design, *both) for both in dict.fromkeys(lights)]

    def _decision_sentence(self, decision: Decision, bench: EntryBench) -> str:
        panel, eye = light_words(bench.light_lx), light_words(bench.eye_lx)
        when = "at its end" if decision.cause == SILENT else "that it mostly had"
        where = f"in the light {when} ({panel} on the panel, {eye} at the darker eye)"
        if bench.point is None:
            fault = f"the bench cannot follow it {where}"
        elif not bench.point.faults:
            fault = f"the bench finds no fault {where}"
        else:
            walker = self._circuits.drawn(self._replay.design_names.index(bench.design))
            name = bench.point.faults[0]
            # eyes and panel have not the same light here, as they do on the bench
            at_light = f"at {format_quantity(bench.point.light, 'lx')} "
            cause = fault_cause(name, walker, bench.point.measured).removeprefix(at_light)
            others = ", ".join(fault_title(one) for one in bench.point.faults[1:])
            also = f" (also: {others})" if others else ""
            fault = f"{where} the bench finds it {_FAULT_WORDS.get(name, name)}: {cause}{also}"
        if decision.number is None or decision.time_s is None:
            return f"It never fired; {fault}."
        since = 0.0 if self._meet is None else self._meet.since_s
        when = time_words(since + decision.time_s)
        which = f"Its pulse {decision.number + 1} at {when}"
        if self._meet is not None:
            which = f"Its pulse {decision.number + 1} of {self._meet.part}, at {when},"
        if decision.cause == AHEAD:
            return f"{which} won it: {decision.words}; {fault}."
        return f"{which} decided: {decision.words}; {fault}."

    def _best_change(
        self, walker: int, seen: Sequence[EntryBench], tries: int, hungry: bool
    ) -> tuple[int, tuple[RaceChange, Outcome] | None]:
        """How many changes were tried, and of these the one that gains most with what comes of it."""
        line = self._line
        entry = int(line.entry[walker])
        design = line.designs[entry]
        possible = []
        for change in changes_to_try(design, seen, tries, hungry):
            try:
                walkers = line.rebuilt(entry, change.applied(design))
            except (ModelError, ValueError):
                continue
            if walkers is not None:
                possible.append((change, walkers))
        if not possible:
            return 0, None
        tables, lost = line.run_apart(
            walker, [one[walker : walker + 1] for _, one in possible], self._threads
        )
        merits = [deed.merit for deed in self._judge(tables)]
        ranked = [k for k in np.argsort(-np.array(merits), kind="stable").tolist() if k not in lost]
        best: tuple[RaceChange, Outcome] | None = None
        least = self._outcomes[walker].deed.merit + LEAST_GAIN
        for k in ranked[: 1 if line.alone and self._meet is None else FINALISTS]:
            change, walkers = possible[k]
            if self._meet is None:
                outcome = self._in_the_race(walker, walkers)
            else:
                outcome = self._meet.again(walker, change.applied(design))
            if outcome is not None and outcome.deed.merit >= least:
                best, least = (possible[k][0], outcome), np.nextafter(outcome.deed.merit, np.inf)
        return len(possible), best

    def _in_the_race(self, walker: int, walkers: Any) -> Outcome | None:
        """What comes of a walker in the whole race with these WALKER records; None where the model fails."""
        line = self._line
        try:
            if not line.alone:
                return outcomes_of(self._judge(line.run(walkers, self._threads)), line.groups)[walker]
            tables, lost = line.run_apart(walker, [walkers[walker : walker + 1]], 1)
        except ModelError:
            return None
        deeds = list(self._deeds)
        deeds[walker] = self._judge(tables)[0]
        return None if lost else outcomes_of(deeds, line.groups)[walker]


_FAULT_WORDS = {
    "dim": "too dim",
    "twitch": "twitching",
    "locked": "locked up",
    "spin": "spinning",
    "lame": "hardly moving",
    "narrow eyes": "with eyes inside the wheels",
    "deaf feelers": "with whiskers without effect",
}


def walker_names(replay: Replay) -> list[str]:
    """What the walkers of a replay are called: by design, with a number where there are several of it."""
    designs = replay.walkers["design"].tolist()
    seen: dict[int, int] = {}
    names = []
    for number in designs:
        seen[number] = seen.get(number, 0) + 1
        name = replay.design_names[number]
        names.append(name if designs.count(number) == 1 else f"{name} {seen[number]}")
    return names


def _time_sentence(outcome: Outcome, shares: dict[str, float], whole: str) -> str:
    if not shares:
        return f"{outcome.words}: it started in the goal."
    told = [(percent, _SORT_WORDS[sort]) for sort, percent in whole_percents(shares).items() if percent > 0]
    spent = f"{told[0][0]} % of {whole} it was {told[0][1]}"
    spent += "".join(f", {percent} % {words}" for percent, words in told[1:])
    return f"{outcome.words}: it {outcome.deed.told}; {spent}."


def whole_percents(shares: dict[str, float]) -> dict[str, int]:
    """Shares in whole percents that add up to 100 as the shares do to 1, the largest first."""
    exact = {sort: 100.0 * share for sort, share in shares.items()}
    floors = {sort: int(value) for sort, value in exact.items()}
    missing = round(sum(exact.values())) - sum(floors.values())
    for sort in sorted(exact, key=lambda one: floors[one] - exact[one])[:missing]:
        floors[sort] += 1
    return dict(sorted(floors.items(), key=lambda one: -one[1]))


def _change_sentence(
    best: tuple[RaceChange, Outcome] | None, tried: int, told: TriedChange | None = None
) -> str:
    counted = f"{tried} change{'' if tried == 1 else 's'} tried in this race with the same luck"
    if best is None:
        return f"None of {counted} would have gained it anything."
    change, outcome = best
    values = {} if told is None else told.values
    setting = ""
    if len({path.rpartition(".")[2] for path in values}) > 1:
        # what takes several values is not to be had from its words alone
        setting = f" ({', '.join(f'{path}: {value}' for path, value in values.items())})"
    return f"{change.condition}{setting} it {outcome.deed.told_now}, {outcome.words}: the best of {counted}."
