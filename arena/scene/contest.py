"""What is to be run: an arena, the designs that enter it, how many, how long, with what luck."""

from collections.abc import Sequence
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path

from agents.design.spec import Design, read_design
from agents.errors import OptionError
from agents.text.shipped import find_document
from arena.scene.elements import MOST_WALKERS
from arena.scene.placement import start_count
from arena.scene.spec import ArenaSpec, read_arena


@dataclass(frozen=True)
class Entrant:
    """A design that takes part, with the text of its file."""

    design: Design
    text: str


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
    designs: Sequence[str | Path],
    walkers: int | None = None,
    seconds: float | None = None,
    seed: int = 1,
    alone: bool = False,
) -> Contest:
    """Read arena and designs by name or path; what is None is taken from the arena.

    Raises SpecError, NotFoundError and OptionError.
    """
    if not designs:
        raise OptionError("no design is to run; name at least one")
    spec = read_arena(arena)
    entrants = tuple(
        Entrant(read_design(name), find_document(str(name), "design").read_text(encoding="utf-8-sig"))
        for name in designs
    )
    entered: dict[str, str | Path] = {}
    for entrant, path in zip(entrants, designs, strict=True):
        name = entrant.design.name
        if str(entered.get(name)) == str(path):
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
    text = find_document(str(arena), "arena").read_text(encoding="utf-8-sig")
    return Contest(spec, text, entrants, count, lasts, seed, alone)
