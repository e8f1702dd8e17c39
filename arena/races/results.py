"""What a race leaves behind: who entered, what came of every round, and the places with how sure they are."""

from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from agents.design.spec import Design

ARRIVED, UNDER_WAY, NEVER_MOVED, LOST = "arrived", "under way", "never moved", "lost"
"""Values of ``Finish.status``; the model could not follow one that was ``lost``."""

ARRIVAL, LIGHT, MOVING = "arrival", "most light", "last moving"
"""What decides on a course."""


@dataclass(frozen=True)
class Entry:
    """One walker that is entered.

    ``number`` counts from 0 in the order of the files, and is its mark in every picture
    (:func:`replays.drawing.colours.look`). ``name`` is unique in the race; ``team`` may be empty. ``text`` is
    what its ``file``, a name without folder, says. ``broken_rules`` tells, in words, which rules of the class
    it breaks: it then races out of competition.
    """

    number: int
    file: str
    name: str
    team: str
    design: Design
    text: str
    broken_rules: tuple[str, ...] = ()

    @property
    def competes(self) -> bool:
        """Whether it gets a place."""
        return not self.broken_rules

    @property
    def colour(self) -> str:
        """The colour of its mark, as ``#rrggbb``."""
        from replays.drawing.colours import look

        return "#" + "".join(f"{part:02x}" for part in look(self.number).colour)

    def as_dict(self) -> dict[str, Any]:
        """All but the design itself, for JSON."""
        return {
            "number": self.number,
            "file": self.file,
            "name": self.name,
            "team": self.team,
            "mark": self.number,
            "colour": self.colour,
            "broken_rules": list(self.broken_rules),
        }


@dataclass(frozen=True)
class Scratching:
    """A file that cannot race, and why: a reason tells place, what stands there and what is expected."""

    file: str
    reasons: tuple[str, ...]

    def as_dict(self) -> dict[str, Any]:
        """For JSON."""
        return {"file": self.file, "reasons": list(self.reasons)}


@dataclass(frozen=True)
class Finish:
    """How one entry, by its number, came out of one race of a round.

    ``start`` is the number of its start place, from 0. ``place`` counts from 1; those who tie share the lower
    number. ``time_s`` [s] is when it arrived, or None. ``progress`` is the share of the way from its start to
    the goal that it has gained at its nearest, 0 to 1. ``light_lx`` [lx] is the mean light on its panel,
    ``moved_s`` [s] when it moved last. ``note`` says why it was lost.
    """

    entry: int
    start: int
    place: int
    time_s: float | None
    progress: float
    light_lx: float
    moved_s: float
    status: str
    note: str = ""

    def as_dict(self) -> dict[str, Any]:
        """For JSON."""
        return asdict(self)


@dataclass(frozen=True)
class Heat:
    """One race of a round: on which course, by its number, in the order of places."""

    course: int
    finishes: tuple[Finish, ...]

    def as_dict(self) -> dict[str, Any]:
        """For JSON."""
        return {"course": self.course, "finishes": [one.as_dict() for one in self.finishes]}


@dataclass(frozen=True)
class Round:
    """One round; ``phase`` is ``heats``, ``final``, or empty where a race has one phase only.

    ``number`` counts from 1 through all phases. ``luck`` keys the draws of parts and jitter of all entries.
    """

    number: int
    phase: str
    luck: int
    heats: tuple[Heat, ...]

    def as_dict(self) -> dict[str, Any]:
        """For JSON."""
        return {
            "number": self.number,
            "phase": self.phase,
            "luck": self.luck,
            "heats": [one.as_dict() for one in self.heats],
        }

    @staticmethod
    def from_dict(value: dict[str, Any]) -> "Round":
        """The round that :meth:`as_dict` gave."""
        heats = tuple(
            Heat(heat["course"], tuple(Finish(**one) for one in heat["finishes"])) for heat in value["heats"]
        )
        return Round(value["number"], value["phase"], value["luck"], heats)


@dataclass(frozen=True)
class Placing:
    """What an entry, by its number, has reached in the whole race.

    Its place lies surely between ``first`` and ``last``, which count from 1; all such ranges of a race hold
    at once with 95 %. None for who races out of competition. ``beaten`` is the mean share of the others whom
    it beat in a round, a tie counting as half; ``wins`` the chance that it is the first of all in one more
    round, by the model of Plackett and Luce; ``points`` the sum of its points, or None where none are given.
    It ``arrived`` in so many of the ``starts`` that it made; ``median_s`` [s] is the median of its times,
    those not there counting as later than all, or None.
    """

    entry: int
    first: int | None
    last: int | None
    beaten: float
    wins: float
    points: float | None
    arrived: int
    starts: int
    median_s: float | None
    in_final: bool

    @property
    def is_sure(self) -> bool:
        """Whether its place is known."""
        return self.first is not None and self.first == self.last

    @property
    def words(self) -> str:
        """Its place, like ``3`` or ``2-4``."""
        if self.first is None:
            return "out of competition"
        return str(self.first) if self.first == self.last else f"{self.first}-{self.last}"

    def as_dict(self) -> dict[str, Any]:
        """For JSON."""
        return {**asdict(self), "place": self.words, "is_sure": self.is_sure}


@dataclass(frozen=True)
class MoreRounds:
    """About how many further rounds would tell neighbours in the ranking apart; None: more than anybody runs.

    ``first`` those that would tell the first from the second, ``all`` those for every pair of neighbours; 0
    where they are told apart already.
    """

    first: int | None
    all: int | None


@dataclass(frozen=True)
class KeptReplay:
    """A replay that was kept: of which round, of which of its heats (from 0), of which stage of light."""

    path: Path
    round: int
    heat: int
    stage: int


@dataclass(frozen=True)
class CourseWords:
    """A course as it is told: the arena's name, what decides, how long [s], and the stages of its light."""

    arena: str
    about: str
    by: str
    seconds: float
    dims: tuple[float, ...]


@dataclass(frozen=True)
class RaceResults:
    """A whole race.

    ``twins`` are groups of entries, by number, that are the same walker. ``placings`` stand in the order of
    the ranking, those out of competition last. ``starts`` is the number of start places, which the
    entries run from in turn.
    """

    name: str
    about: str
    format: str
    seed: int
    courses: tuple[CourseWords, ...]
    entries: tuple[Entry, ...]
    scratched: tuple[Scratching, ...]
    twins: tuple[tuple[int, ...], ...]
    rounds: tuple[Round, ...]
    placings: tuple[Placing, ...]
    more: MoreRounds
    starts: int
    folder: Path
    replays: tuple[KeptReplay, ...]

    def finishes_of(self, entry: int) -> list[tuple[Round, Heat, Finish]]:
        """Everything that came of an entry, by its number, round by round."""
        return [
            (one, heat, finish)
            for one in self.rounds
            for heat in one.heats
            for finish in heat.finishes
            if finish.entry == entry
        ]

    def as_dict(self) -> dict[str, Any]:
        """For JSON: all but designs and texts."""
        return {
            "name": self.name,
            "about": self.about,
            "format": self.format,
            "seed": self.seed,
            "courses": [asdict(one) for one in self.courses],
            "start_places": self.starts,
            "entries": [one.as_dict() for one in self.entries],
            "scratched": [one.as_dict() for one in self.scratched],
            "same_walker": [list(group) for group in self.twins],
            "standings": [
                {"name": self.entries[one.entry].name, "team": self.entries[one.entry].team, **one.as_dict()}
                for one in self.placings
            ],
            "more_rounds": asdict(self.more),
            "rounds": [one.as_dict() for one in self.rounds],
            "replays": [{**asdict(one), "path": one.path.name} for one in self.replays],
        }
