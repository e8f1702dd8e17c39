"""What is to be run: an arena, the designs that enter it, how many, how long, with what luck."""

from collections.abc import Sequence
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path

from agents.design.changing import design_text
from agents.design.spec import Design, parse_design
from agents.errors import OptionError
from agents.text.marked_yaml import read_text
from agents.text.shipped import find_document
from arena.scene.elements import MOST_WALKERS
from arena.scene.placement import start_count
from arena.scene.spec import ArenaSpec, parse_arena


@dataclass(frozen=True)
class Entrant:
    """A design that takes part, with the text of its file.

    ``mark`` is the number of its look in pictures, its place among the entrants where it is None; ``team``
    may be empty.
    """

    design: Design
    text: str
    mark: int | None = None
    team: str = ""


@dataclass(frozen=True)
class Contest:
    """What is to be run: an arena, with the text of its file, and the designs that enter it.

    ``walkers`` built copies of each design start, at most 10,000 in all. ``seconds`` [s] the run lasts;
    ``seed`` >= 0 keys every draw. ``alone``: every walker has the arena to itself; copy k of every design
    then starts at the same place. Copy k of every design has the same luck, so that designs are compared
    in pairs.
    """

    arena: ArenaSpec
    text: str
    entrants: tuple[Entrant, ...]
    walkers: int
    seconds: float
    seed: int
    alone: bool

    @property
    def program(self) -> str:
        """Version of the program."""
        return version("photodrome")


def read_contest(
    arena: str | Path,
    designs: Sequence[str | Path | Design],
    walkers: int | None = None,
    seconds: float | None = None,
    seed: int = 1,
    alone: bool = False,
) -> Contest:
    """Read arena and designs by name or path; what is None is taken from the arena.

    A design may also be given as it is, read before and perhaps changed. ``walkers`` of each design start,
    and run for ``seconds`` [s]; see :class:`Contest`. Raises SpecError, NotFoundError and OptionError.

    >>> contest = read_contest("open-bench", ["poppy", "lentil"], walkers=2, seconds=600)
    >>> [entrant.design.name for entrant in contest.entrants], contest.seed
    (['poppy', 'lentil'], 1)
    >>> from agents import change_design, read_design
    >>> mine = change_design(read_design("poppy"), {"name": "mine", "both.latch": "1k"})
    >>> read_contest("open-bench", ["poppy", mine]).walkers
    4
    """
    if isinstance(designs, str):
        raise OptionError(f"designs: got the text {designs!r}, expected a list like [{designs!r}]")
    if not designs:
        raise OptionError("no design is to run; name at least one")
    place = find_document(arena, "arena")
    text = _text_of(place)
    spec = parse_arena(text, str(place))
    entrants = tuple(_entrant(design) for design in designs)
    entered: dict[str, str] = {}
    for entrant, given in zip(entrants, designs, strict=True):
        name = entrant.design.name
        path = f"a design named {name!r}" if isinstance(given, Design) else str(given)
        if entered.get(name) == path:
            raise OptionError(f"design {name!r} is entered twice; for more copies, ask for more walkers")
        if name in entered:
            raise OptionError(
                f"{entered[name]} and {path} are both called {name!r}; give each a name of its own"
            )
        entered[name] = path
    count = start_count(spec, len(entrants), alone) if walkers is None else walkers
    if count < 1:
        raise OptionError(f"{count} walkers of each design are to run; ask for at least 1")
    if count * len(entrants) > MOST_WALKERS:
        raise OptionError(
            f"{count * len(entrants)} walkers are to run, {count} of each design; the most is {MOST_WALKERS}"
        )
    lasts = spec.lasts if seconds is None else seconds
    if not 0.0 < lasts <= 1e6:
        raise OptionError(f"a run lasts more than 0 s and at most 1e6 s, not {lasts:g} s")
    if not 0 <= seed < 2**63:
        raise OptionError(f"a seed lies between 0 and 2^63 - 1, not {seed}")
    return Contest(spec, text, entrants, count, lasts, seed, alone)


def _text_of(path: Path) -> str:
    """The text of a file; line ends make no other arena and no other design."""
    return read_text(path, str(path)).replace("\r\n", "\n").replace("\r", "\n")


def _entrant(design: str | Path | Design) -> Entrant:
    if isinstance(design, Design):
        return Entrant(design, design_text(design))
    path = find_document(design, "design")
    text = _text_of(path)
    return Entrant(parse_design(text, str(path)), text)
