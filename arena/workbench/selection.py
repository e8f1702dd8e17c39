"""What is chosen on the workbench: the design, the dial, the sides that it turns, what lies on the plan."""

from dataclasses import dataclass

from agents.design.values_by_path import SCOPES
from agents.text.marked_yaml import KeyPath
from arena.workbench.dials import DIALS, Dial
from arena.workbench.movables import METER
from arena.workbench.workbench_keys import DIAL_MODE, PLAN_MODE


@dataclass
class Selection:
    """What the next key or turn is for.

    ``design``, ``dial`` and ``scope`` are numbers, ``movable`` is a path in the arena's file; ``on_plan``
    tells whether the arrows move it or turn the dial.
    """

    design: int = 0
    dial: int = 0
    scope: int = 0
    on_plan: bool = False
    movable: KeyPath = METER

    @property
    def mode(self) -> str:
        """What the arrows are for."""
        return PLAN_MODE if self.on_plan else DIAL_MODE

    @property
    def the_dial(self) -> Dial:
        """The chosen dial."""
        return DIALS[self.dial]

    @property
    def sides(self) -> str:
        """What a turn changes: both, or one side."""
        return SCOPES[self.scope]

    def choose_dial(self, number: int) -> None:
        """Choose a dial; the arrows are for it from now on."""
        self.dial, self.on_plan = number, False

    def choose_beside(self, steps: int) -> None:
        """Choose a dial so many rows below."""
        self.dial = (self.dial + steps) % len(DIALS)

    def choose_movable(self, path: KeyPath) -> None:
        """Choose something on the plan; the arrows are for it from now on."""
        self.movable, self.on_plan = path, True

    def change_mode(self) -> None:
        """Go from the dials to the plan, or back."""
        self.on_plan = not self.on_plan

    def next_scope(self) -> None:
        """Turn both sides, then the left, then the right."""
        self.scope = (self.scope + 1) % len(SCOPES)
