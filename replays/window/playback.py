"""The time of a run as a window plays it: where it stands, how fast it goes on, how far it can go."""

from collections.abc import Callable

SPEEDS = (0.25, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1000.0)
"""Seconds of the run that go by in a second."""

_STEP = 0.01
"""A step back or on as a share of the run."""


class Transport:
    """Plays a run of ``seconds`` [s] as far as ``until_s`` [s], which is less while it is being worked out.

    ``time_s`` [s] is shown, ``speed_step`` counts in :data:`SPEEDS`.
    """

    def __init__(self, seconds: float, speed: float, *, playing: bool = False) -> None:
        self.seconds = self.until_s = seconds
        self.time_s = 0.0
        self.playing = playing
        self.speed_step = SPEEDS.index(speed)

    @property
    def speed(self) -> float:
        """Seconds of the run that go by in a second."""
        return SPEEDS[self.speed_step]

    @property
    def actions(self) -> dict[str, Callable[[], None]]:
        """What keys and buttons can ask for, by name."""
        return {
            "play": self.play,
            "faster": lambda: self.change_speed(1),
            "slower": lambda: self.change_speed(-1),
            "back": lambda: self.go_to(self.time_s - _STEP * self.seconds),
            "on": lambda: self.go_to(self.time_s + _STEP * self.seconds),
            "start": lambda: self.go_to(0.0),
            "end": lambda: self.go_to(self.seconds),
        }

    def set_length(self, seconds: float, until_s: float | None = None) -> None:
        """Play another run from now on; ``until_s`` is None for a whole one."""
        self.seconds = seconds
        self.until_s = seconds if until_s is None else until_s

    def go_to(self, time_s: float) -> None:
        """Go to ``time_s`` [s], or to the nearer end of what can be shown."""
        self.time_s = min(max(time_s, 0.0), self.until_s)

    def play(self) -> None:
        """Play, from the start if the end is shown; or stop."""
        if not self.playing and self.time_s >= self.until_s:
            self.time_s = 0.0
        self.playing = not self.playing

    def change_speed(self, steps: int) -> None:
        """Go on faster, or slower, within :data:`SPEEDS`."""
        self.speed_step = min(max(self.speed_step + steps, 0), len(SPEEDS) - 1)

    def advance(self, elapsed_s: float) -> None:
        """Let ``elapsed_s`` [s] of the viewer's time go by; at the end of the run it stops."""
        if self.playing:
            self.go_to(self.time_after(elapsed_s))
            self.playing = self.time_s < self.seconds

    def time_after(self, elapsed_s: float) -> float:
        """The time of the run [s] to which ``elapsed_s`` [s] of the viewer's time lead."""
        return self.time_s + elapsed_s * self.speed
