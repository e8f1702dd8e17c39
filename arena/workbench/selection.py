"""What is chosen on the workbench: the design, the dial, the sides that it turns, what lies on the plan."""

from dataclasses import dataclass

from agents.design.values_by_path import SCOPES
from agents.text.marked_yaml import KeyPath
from arena.workbench.dials import DIALS, Dial
from arena.workbench.movables import METER
from arena.workbench.workbench_keys import MODES
from replays.window.key_meanings import DIAL_MODE, PLAN_MODE


@dataclass
class Selection:
    """What the next key or turn is for.

    ``design``, ``dial`` and ``scope`` are numbers, ``movable`` is a path in the arena's file; ``mode`` tells
    what the arrows are for: the dial, ``movable``, or the time of the run.
    """

    design: int = 0
    dial: int = 0
    scope: int = 0
    mode: str = DIAL_MODE
    movable: KeyPath = METER

    @property
    def on_plan(self) -> bool:
        """Whether the arrows move what lies on the plan."""
        return self.mode == PLAN_MODE

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
        self.dial, self.mode = number, DIAL_MODE

    def choose_beside(self, steps: int) -> None:
        """Choose a dial so many rows below."""
        self.dial = (self.dial + steps) % len(DIALS)

    def choose_movable(self, path: KeyPath) -> None:
        """Choose something on the plan; the arrows are for it from now on."""
        self.movable, self.mode = path, PLAN_MODE

    def change_mode(self) -> None:
        """Hand on the arrows: from the dials to the plan, to time, and back to the dials."""
        self.mode = MODES[(MODES.index(self.mode) + 1) % len(MODES)]

    def go_to_dials(self) -> None:
        """The arrows are for the dials from now on."""
        self.mode = DIAL_MODE

    def next_scope(self) -> None:
        """Turn both sides, then the left, then the right."""
        self.scope = (self.scope + 1) % len(SCOPES)
