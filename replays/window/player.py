"""Where a replay stands and how it goes on: a plain state, changed by actions and by time."""

from collections.abc import Callable

import numpy as np

from agents.arrays import FloatArray, IntArray
from replays.drawing.figures import ALL_WAYS, WAYS, copy_numbers
from replays.drawing.moving_spans import Stretches
from replays.format.tables import Replay
from replays.window.playback import Transport

_FIRST_SPEED = 20.0

# So many walkers' causes are shown below those of the chosen one.
_MOST_BESIDE = 3

# Times that differ by less are the same [s].
_SAME = 1e-9


class Player(Transport):
    """The transport of a window on ``replay``, and who is looked at.

    ``chosen`` is the number of a walker, or None; ``skipping`` leaves out the waits between pulses, of the
    chosen walker if there is one, else of all; ``following`` keeps the chosen walker in view; ``beside``
    is how many others it is compared with; ``held`` stops time while the bar is dragged.
    """

    def __init__(self, replay: Replay) -> None:
        super().__init__(replay.seconds, _FIRST_SPEED, playing=True)
        self.replay = replay
        self.skipping = False
        self.chosen: int | None = None
        self.following = False
        self.causes_shown = True
        self.beside = 0
        self.ways = ALL_WAYS
        self.held = False
        self._stretches: dict[int | None, Stretches] = {}
        self._starts: dict[int | None, FloatArray] = {}

    @property
    def actions(self) -> dict[str, Callable[[], None]]:
        """What keys and buttons can ask for, by name."""
        return {
            **super().actions,
            "next pulse": lambda: self._go_to_pulse(1),
            "previous pulse": lambda: self._go_to_pulse(-1),
            "skip": self._change_skipping,
            "next walker": lambda: self._choose_beside(1),
            "previous walker": lambda: self._choose_beside(-1),
            "why": self._change_causes,
            "beside": self._compare_more,
            "follow": self._change_following,
            "ways": self._change_ways,
        }

    @property
    def stretches(self) -> Stretches:
        """The stretches that are played while waits are skipped."""
        if self.chosen not in self._stretches:
            self._stretches[self.chosen] = Stretches.of(self.replay, self.chosen)
        return self._stretches[self.chosen]

    @property
    def pulse_s(self) -> FloatArray:
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
        if self.skipping:
            return self._busy_speed * self._pulses_to_follow / max(self.stretches.busy_s, 1e-9)
        return self.speed * len(self.replay.pulses) / max(len(self.replay.walkers), 1) / self.seconds

    @property
    def _pulses_to_follow(self) -> float:
        """How often the chosen walker fires in the run, or one on average."""
        everyone = len(self.replay.pulses) / max(len(self.replay.walkers), 1)
        return max(everyone, len(self.pulse_s)) if self.chosen is not None else everyone

    @property
    def _busy_speed(self) -> float:
        """Seconds of the stretches that go by in one: no more than can be followed, one pulse a second."""
        return min(self.speed, self.stretches.busy_s / max(self._pulses_to_follow, 1.0))

    @property
    def speed_words(self) -> str:
        """How fast it goes, in words."""
        if self.skipping and self._busy_speed < self.speed:
            return "a pulse a second"
        return f"{self.speed:g} times life"

    def advance(self, elapsed_s: float) -> None:
        """Let ``elapsed_s`` [s] of the viewer's time go by, unless the bar is held."""
        if not self.held:
            super().advance(elapsed_s)

    def time_after(self, elapsed_s: float) -> float:
        """The time of the run [s] to which ``elapsed_s`` [s] of the viewer's time lead."""
        if not self.skipping:
            return super().time_after(elapsed_s)
        busy = self.stretches.to_busy(self.time_s) + elapsed_s * self._busy_speed
        if busy >= self.stretches.busy_s:
            return self.seconds
        # never back to the end of a stretch out of the wait behind it
        return max(self.stretches.to_run(busy), self.time_s)

    def choose(self, walker: int | None) -> None:
        """Choose a walker, or none."""
        self.chosen = walker
        if walker is None:
            self.following = False

    def _choose_beside(self, step: int) -> None:
        walkers = len(self.replay.walkers)
        if walkers:
            first = 0 if step == 1 else walkers - 1
            self.choose(first if self.chosen is None else (self.chosen + step) % walkers)

    def _go_to_pulse(self, step: int) -> None:
        """Stop at the next pulse, or at the one before."""
        self.playing = False
        starts = self.pulse_s
        if step == 1:
            number = int(np.searchsorted(starts, self.time_s + _SAME, side="right"))
        else:
            number = int(np.searchsorted(starts, self.time_s - _SAME)) - 1
        if 0 <= number < len(starts):
            self.go_to(float(starts[number]))

    def _change_skipping(self) -> None:
        self.skipping = not self.skipping

    def _change_causes(self) -> None:
        self.causes_shown = not self.causes_shown

    def compared(self, order: IntArray) -> list[int]:
        """The chosen walker, and those whose causes are shown below it.

        First who stands before it in ``order``, then its copies in other designs, which have the same luck.
        """
        if self.chosen is None:
            return []
        copies = copy_numbers(self.replay.walkers["design"])
        alike = np.flatnonzero(copies == copies[self.chosen])
        others = [*order[:1].tolist(), *alike.tolist(), *order.tolist()]
        return [self.chosen, *(one for one in dict.fromkeys(others) if one != self.chosen)][: 1 + self.beside]

    def _compare_more(self) -> None:
        """Show the causes of one more walker, after the most of none."""
        self.beside = (self.beside + 1) % (1 + _MOST_BESIDE)

    def _change_following(self) -> None:
        self.following = not self.following and self.chosen is not None

    def _change_ways(self) -> None:
        self.ways = WAYS[(WAYS.index(self.ways) + 1) % len(WAYS)]
