"""Where a replay stands and how it goes on: a plain state, changed by actions and by time."""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from replays.drawing.stage import ALL_WAYS, WAYS
from replays.drawing.stretches import Stretches
from replays.format.tables import Replay

SPEEDS = (0.25, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1000.0)
"""Seconds of the run that go by in a second."""

_FIRST_SPEED = SPEEDS.index(20.0)

# Times that differ by less are the same [s].
_SAME = 1e-9


@dataclass
class Player:
    """The state of a window on ``replay``.

    ``chosen`` is the number of a walker, or None; ``skipping`` leaves out the waits between pulses, of the
    chosen walker if there is one, else of all; ``following`` keeps the chosen walker in view.
    """

    replay: Replay
    time_s: float = 0.0
    playing: bool = True
    speed_step: int = _FIRST_SPEED
    skipping: bool = False
    chosen: int | None = None
    following: bool = False
    causes_shown: bool = True
    ways: str = ALL_WAYS
    held: bool = False
    _stretches: dict[int | None, Stretches] = field(default_factory=dict, repr=False, compare=False)
    _starts: dict[int | None, NDArray[np.float64]] = field(default_factory=dict, repr=False, compare=False)

    @property
    def seconds(self) -> float:
        """Length of the run [s]."""
        return self.replay.seconds

    @property
    def speed(self) -> float:
        """Seconds of the run that go by in a second."""
        return SPEEDS[self.speed_step]

    @property
    def stretches(self) -> Stretches:
        """The stretches that are played while waits are skipped."""
        if self.chosen not in self._stretches:
            self._stretches[self.chosen] = Stretches.of(self.replay, self.chosen)
        return self._stretches[self.chosen]

    @property
    def pulse_s(self) -> NDArray[np.float64]:
        """When the pulses were fired [s], sorted: the chosen walker's, or all."""
        if self.chosen not in self._starts:
            pulses = self.replay.pulses
            mine = pulses if self.chosen is None else pulses[pulses["walker"] == self.chosen]
            self._starts[self.chosen] = np.asarray(mine["start_s"], dtype=np.float64)
        return self._starts[self.chosen]

    @property
    def pace(self) -> float:
        """Pulses in a second of the viewer's time, of one walker on average; 0 while it stands still.

        Of the chosen one, if it fires more often than the others and its waits are skipped.
        """
        if not self.playing or self.held:
            return 0.0
        pulses = len(self.replay.pulses) / max(len(self.replay.walkers), 1)
        if not self.skipping:
            return self.speed * pulses / self.seconds
        return (
            self.speed
            * max(pulses, len(self.pulse_s) if self.chosen is not None else 0)
            / max(self.stretches.busy_s, 1e-9)
        )

    def advance(self, elapsed_s: float) -> None:
        """Let ``elapsed_s`` [s] of the viewer's time go by; at the end of the run it stops."""
        if not self.playing or self.held:
            return
        if self.skipping:
            busy = self.stretches.to_busy(self.time_s) + elapsed_s * self.speed
            if busy < self.stretches.busy_s:
                # never back to the end of a stretch out of the wait behind it
                self.go_to(max(self.stretches.to_run(busy), self.time_s))
            else:
                self.go_to(self.seconds)
        else:
            self.go_to(self.time_s + elapsed_s * self.speed)
        self.playing = self.time_s < self.seconds

    def go_to(self, time_s: float) -> None:
        """Go to ``time_s`` [s], or to the nearer end of the run."""
        self.time_s = min(max(time_s, 0.0), self.seconds)

    def choose(self, walker: int | None) -> None:
        """Choose a walker, or none."""
        self.chosen = walker
        if walker is None:
            self.following = False

    def act(self, action: str) -> bool:
        """Do what an action of :mod:`replays.window.keys` asks for; False where it is not the player's."""
        walkers = len(self.replay.walkers)
        if action == "play":
            if not self.playing and self.time_s >= self.seconds:
                self.time_s = 0.0
            self.playing = not self.playing
        elif action in ("faster", "slower"):
            step = self.speed_step + (1 if action == "faster" else -1)
            self.speed_step = min(max(step, 0), len(SPEEDS) - 1)
        elif action in ("back", "on"):
            self.go_to(self.time_s + (0.01 if action == "on" else -0.01) * self.seconds)
        elif action in ("start", "end"):
            self.go_to(0.0 if action == "start" else self.seconds)
        elif action in ("next pulse", "last pulse"):
            self._step(1 if action == "next pulse" else -1)
        elif action == "skip":
            self.skipping = not self.skipping
        elif action in ("next walker", "last walker"):
            if walkers:
                step = 1 if action == "next walker" else -1
                first = 0 if step == 1 else walkers - 1
                self.choose(first if self.chosen is None else (self.chosen + step) % walkers)
        elif action == "why":
            self.causes_shown = not self.causes_shown
        elif action == "follow":
            self.following = not self.following and self.chosen is not None
        elif action == "ways":
            self.ways = WAYS[(WAYS.index(self.ways) + 1) % len(WAYS)]
        else:
            return False
        return True

    def _step(self, step: int) -> None:
        """Stop at the next pulse, or at the one before."""
        self.playing = False
        starts = self.pulse_s
        if step == 1:
            number = int(np.searchsorted(starts, self.time_s + _SAME, side="right"))
        else:
            number = int(np.searchsorted(starts, self.time_s - _SAME)) - 1
        if 0 <= number < len(starts):
            self.go_to(float(starts[number]))
