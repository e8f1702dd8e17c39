"""A race before it begins: who starts, who does not and why, from which places, in how many rounds."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from agents.arrays import FloatArray, RecordArray
from agents.design.as_built import build
from agents.design.spec import Design
from agents.errors import OptionError
from arena.races.course_places import common_print, ground_of, misfit, places_alone, shared_places
from arena.races.draw import heat_shape, heats_of, round_robin
from arena.races.drawer_rule import drawer_rule
from arena.races.entries import EntryList, with_broken_rules
from arena.races.heat_running import HeatTerms
from arena.races.race_form import FINAL, PAIRS, RELAY, TIME_TRIAL
from arena.races.race_plan import RaceCourse, RacePlan
from arena.races.results import Entry, Round, Scratching
from arena.races.rules import Rule, broken
from arena.races.standings import FINAL_PHASE, finalists_of
from arena.scene.spec import parse_arena

# Rounds that tell entries apart which differ plainly, so many of a class there are.
ENOUGH_ROUNDS = 24
# Pairs of a round robin that are run at the most, if nobody says how many rounds.
MOST_PAIRS = 2000


@dataclass(frozen=True)
class MeetTerms:
    """What a race is run by, apart from who enters."""

    name: str
    about: str
    format: str
    courses: tuple[RaceCourse, ...]
    rounds: int | None
    final_rounds: int | None
    finalists: int
    heat: int | None
    points: tuple[float, ...]
    seed: int

    @property
    def alone(self) -> bool:
        """Whether every entry has the course to itself."""
        return self.format in (TIME_TRIAL, RELAY)

    def as_dict(self) -> dict[str, Any]:
        """For JSON, with the texts of the arenas."""
        courses = [
            {"text": one.text, "by": one.by, "seconds": one.seconds, "dims": list(one.dims)}
            for one in self.courses
        ]
        return {**vars(self), "courses": courses, "points": list(self.points)}

    @staticmethod
    def from_dict(value: dict[str, Any]) -> "MeetTerms":
        """The terms that :meth:`as_dict` gave."""
        courses = tuple(
            RaceCourse(
                parse_arena(one["text"], "arena"), one["text"], one["by"], one["seconds"], tuple(one["dims"])
            )
            for one in value["courses"]
        )
        return MeetTerms(**{**value, "courses": courses, "points": tuple(value["points"])})


def meet_terms(plan: RacePlan) -> MeetTerms:
    """The terms that a plan says."""
    form = plan.form
    return MeetTerms(
        form.name,
        form.about or "",
        form.format,
        plan.courses,
        form.rounds,
        form.final_rounds,
        form.finalists,
        form.heat,
        form.points,
        form.seed,
    )


@dataclass(frozen=True)
class RaceSetup:
    """A race that can begin.

    ``places`` holds the start poses, (places, 3), of each course, ``final_places`` those of the final.
    ``rounds`` and ``final_rounds`` are to be run; ``aside`` tells of files that are no entries.
    """

    terms: MeetTerms
    entries: tuple[Entry, ...]
    scratched: tuple[Scratching, ...]
    aside: tuple[str, ...]
    twins: tuple[tuple[int, ...], ...]
    places: tuple[FloatArray, ...]
    final_places: FloatArray | None
    rounds: int
    final_rounds: int

    @property
    def turn(self) -> int:
        """Rounds after which every entry has run from every start place."""
        return max(len(one) for one in self.places)

    @property
    def heats(self) -> int:
        """Heats of a round."""
        count = len(self.entries)
        if self.terms.format == PAIRS:
            return count * (count - 1) // 2
        return len(self.terms.courses) if self.terms.alone else heat_shape(count, len(self.places[0]))[0]

    def round_terms(self, number: int, rounds: Sequence[Round]) -> tuple[str, list[tuple[int, HeatTerms]]]:
        """The phase of round ``number``, from 0, and its heats with the numbers of their courses.

        The final goes by the ``rounds`` of the heats.
        """
        is_final = number >= self.rounds
        terms, among, places = self.terms, list(self.entries), self.places[0]
        phase = ("final" if is_final else "heats") if terms.format == FINAL else ""
        if is_final:
            chosen = finalists_of(self.entries, rounds[: self.rounds], terms.finalists)
            among = [one for one in among if one.number in chosen]
            assert self.final_places is not None
            places = self.final_places
        if terms.alone:
            return phase, [
                (
                    course,
                    self._heat(
                        course, among, [(one, number % len(poses)) for one in range(len(among))], number
                    ),
                )
                for course, poses in enumerate(self.places)
            ]
        drawn = (
            round_robin(len(among), number)
            if terms.format == PAIRS
            else heats_of(len(among), len(places), terms.seed, number - (self.rounds if is_final else 0))
        )
        return phase, [(0, self._heat(0, among, heat, number, places)) for heat in drawn]

    def _heat(
        self,
        course: int,
        among: Sequence[Entry],
        drawn: Sequence[tuple[int, int]],
        number: int,
        places: FloatArray | None = None,
    ) -> HeatTerms:
        terms = self.terms
        poses = self.places[course] if places is None else places
        starters = tuple((among[one], start) for one, start in drawn)
        return HeatTerms(terms.courses[course], starters, poses, terms.alone, terms.seed, number)


def prepare_race(
    plan: RacePlan,
    listed: EntryList,
    also: Sequence[Rule] = (),
    tell: Callable[[str], None] | None = None,
) -> RaceSetup:
    """Put a race together: rules, bodies that fit, start places, rounds.

    ``also`` are further rules. Raises OptionError where nobody is left to race.
    """
    terms = meet_terms(plan)
    if plan.drawer is not None:
        also = [drawer_rule(plan.drawer), *also]
    entries = [with_broken_rules(one, broken(one.design, plan.form.rules, also)) for one in listed.entries]
    scratched = list(listed.scratched)
    fitting = []
    for one in entries:
        reasons = _misfits(terms, one.design)
        if reasons:
            scratched.append(Scratching(one.file, tuple(reasons)))
        else:
            fitting.append(one)
    if not fitting:
        raise OptionError(nobody(plan, listed, scratched))
    scratched.sort(key=lambda one: one.file)
    number_of = {one.number: number for number, one in enumerate(fitting)}
    twins = [tuple(number_of[one] for one in group if one in number_of) for group in listed.twins]
    numbered = tuple(replace(one, number=number) for number, one in enumerate(fitting))
    return ready(terms, numbered, tuple(scratched), listed.aside, tuple(one for one in twins if len(one) > 1))


def ready(
    terms: MeetTerms,
    entries: tuple[Entry, ...],
    scratched: tuple[Scratching, ...] = (),
    aside: tuple[str, ...] = (),
    twins: tuple[tuple[int, ...], ...] = (),
) -> RaceSetup:
    """The setup of a race between entries all of whom can start."""
    body = common_print([largest_records(one.design) for one in entries])
    count = len(entries)
    places, final_places = [], None
    for course in terms.courses:
        ground = ground_of(course)
        if terms.alone:
            places.append(places_alone(course, ground, body, terms.seed))
        elif terms.format == PAIRS:
            places.append(shared_places(ground, body, terms.seed, min(count, 2), 2))
        else:
            places.append(shared_places(ground, body, terms.seed, count, terms.heat))
            finalists = min(terms.finalists, sum(one.competes for one in entries))
            if terms.format == FINAL and finalists:
                final_places = shared_places(ground, body, terms.seed, finalists, None)
    turn = max(len(one) for one in places)
    usual = turn * math.ceil(ENOUGH_ROUNDS / turn)
    pairs = count * (count - 1) // 2
    if terms.format == PAIRS:
        usual = max(2, min(usual, 2 * (MOST_PAIRS // max(2 * pairs, 1))))
    rounds = terms.rounds or usual
    final_rounds = 0
    if final_places is not None:
        final_turn = len(final_places)
        final_rounds = terms.final_rounds or final_turn * math.ceil(rounds / final_turn)
    return RaceSetup(
        terms, entries, scratched, aside, twins, tuple(places), final_places, rounds, final_rounds
    )


def nobody(plan: RacePlan, listed: EntryList, scratched: Sequence[Scratching]) -> str:
    """Why nobody can race, in words, with every reason."""
    lines = [f"{plan.form.name}: nobody is left to race"]
    lines += [f"  {one.file}: {reason}" for one in scratched for reason in one.reasons]
    lines += [f"  {one}" for one in listed.aside]
    return "\n".join(lines)


def largest_records(design: Design) -> RecordArray:
    """WALKER records of a design as it is, and with the parts of its body at the ends of their spreads."""
    rows: list[dict[str, float]] = [{}]
    for sign in (-1.0, 1.0):
        own = {
            one.path: one.value + sign * one.bound for one in design.spreads if one.path.startswith("body.")
        }
        rows += [own] if own else []
    return np.concatenate([build(design.with_values(row) if row else design) for row in rows])


def _misfits(terms: MeetTerms, design: Design) -> list[str]:
    records = largest_records(design)
    found = []
    for course in terms.courses:
        why = misfit(course, ground_of(course), records, terms.seed, terms.alone)
        if why:
            found.append(f"{why}; make the body smaller, or race in a larger arena")
    return found


def phase_of(setup: RaceSetup, number: int) -> str:
    """Where a round stands, in words: ``round 3 of 24``, ``final 2 of 6``; ``number`` counts from 0."""
    if number >= setup.rounds:
        return f"{FINAL_PHASE} {number - setup.rounds + 1} of {setup.final_rounds}"
    return f"round {number + 1} of {setup.rounds}"
