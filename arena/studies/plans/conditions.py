"""What is varied of the arena is given, not chosen: who builds a walker does not choose what stands about.

So the factors of a study are of two sorts (:attr:`Parameter.is_given`), and a *condition* is one choice of
all that is given: an arena, and a value of everything that is varied of it. A sweep compares settings within
each condition. A search judges every design by all conditions alike: each repeat runs in one of the n there
are, and every n repeats in all of them, in an order drawn anew, so that no condition is bound to some of an
arena's listed start places.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from agents.arrays import IntArray
from agents.errors import OptionError
from arena.studies.plans.parameters import Parameter
from arena.studies.plans.ranges import Levels
from arena.studies.plans.sampling import grid_place
from arena.studies.plans.study import Setting, Study

# More conditions than this are no longer those of a bench.
_MOST_CONDITIONS = 10_000


def given_and_chosen(factors: Sequence[Parameter]) -> tuple[list[int], list[int]]:
    """Return the numbers of those factors that are given, and of those that are chosen."""
    given = [number for number, one in enumerate(factors) if one.is_given]
    return given, [number for number in range(len(factors)) if number not in given]


def by_condition(places: IntArray) -> list[IntArray]:
    """Return the settings of each condition, for the levels ``places`` (settings, given factors) of all."""
    _, condition_of = np.unique(places, axis=0, return_inverse=True)
    condition_of = condition_of.ravel()
    return [np.flatnonzero(condition_of == number) for number in range(int(condition_of.max()) + 1)]


@dataclass(frozen=True)
class Condition:
    """One choice of all that is given: the index of the arena, and ``values`` by number of the parameter."""

    arena: int
    values: Mapping[int, Any]


class Conditions:
    """All conditions of a study of which every parameter has single values."""

    def __init__(self, study: Study) -> None:
        """Count them. Raises OptionError where there are too many for a search."""
        self._study = study
        self._given, _ = given_and_chosen(study.parameters)
        lists = [values.values for values in study.ranges if isinstance(values, Levels)]
        assert len(lists) == len(study.parameters)
        self._lists = [tuple(range(len(study.arenas))), *(lists[number] for number in self._given)]
        self.count = math.prod(len(one) for one in self._lists)
        if self.count > _MOST_CONDITIONS:
            raise OptionError(
                f"{study.name}: arenas and what is varied of them make {self.count:,} conditions; "
                f"a search takes at most {_MOST_CONDITIONS:,}"
            )

    def __getitem__(self, number: int) -> Condition:
        levels = grid_place(number, [len(one) for one in self._lists])
        arena, *values = (one[level] for one, level in zip(self._lists, levels, strict=True))
        return Condition(arena, dict(zip(self._given, values, strict=True)))

    def of_repeat(self, repeat: int) -> int:
        """Return the number of the condition in which a repeat runs."""
        round_number, place = divmod(repeat, self.count)
        order = np.random.default_rng([self._study.seed, round_number]).permutation(self.count)
        return int(order[place])

    def whole(self, repeats: int) -> int:
        """Return as many of ``repeats`` as run in all conditions equally often."""
        return repeats // self.count * self.count

    def setting(
        self, number: int, design: int, chosen: Mapping[int, Any], is_of_plan: bool = True
    ) -> Setting:
        """Return the setting of a design with ``chosen`` values, by number of the parameter, in a condition.

        Not ``is_of_plan`` are values that the plan need not allow.
        """
        condition = self[number]
        found = {**condition.values, **chosen}
        values = tuple(found[parameter] for parameter in range(len(self._study.parameters)))
        if is_of_plan:
            return self._study.setting_of(values, condition.arena, design)
        return Setting(-1, condition.arena, design, values)
