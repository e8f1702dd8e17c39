"""What the window does with keys and mouse, apart from drawing: where the run stands and how fast it goes."""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from replays.record import Replay
from replays.sheet import pygame

SPEEDS = (1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1000.0)
"""Seconds of the run that go by in a second."""

_FIRST_SPEED = SPEEDS.index(20.0)

HELP = (
    ("space", "play and pause"),
    ("left, right", "go a hundredth of the run back or on"),
    ("home, end", "go to the start or the end"),
    ("up, down", "play faster or slower"),
    ("n", "go to the next pulse"),
    ("mouse on the bar", "go to that time"),
    ("h, F1", "show or hide this"),
    ("q, Esc", "close the window"),
)
"""Keys, and what they do."""


@dataclass
class Player:
    """The state of a window on a replay of ``seconds`` [s] with pulses at ``pulse_s`` [s], sorted.

    ``bar`` is the bar's rectangle in the window [pixels], to be kept up to date by whoever draws it.
    """

    seconds: float
    pulse_s: NDArray[np.float64]
    time_s: float = 0.0
    playing: bool = True
    speed_step: int = _FIRST_SPEED
    help_shown: bool = False
    closed: bool = False
    dragging: bool = False
    bar: pygame.Rect = field(default_factory=lambda: pygame.Rect(0, 0, 0, 0))

    @classmethod
    def of(cls, replay: Replay) -> "Player":
        """The player of ``replay``, at its start and playing."""
        return cls(replay.seconds, np.asarray(replay.pulses["start_s"], dtype=np.float64))

    @property
    def speed(self) -> float:
        """Seconds of the run that go by in a second."""
        return SPEEDS[self.speed_step]

    def advance(self, elapsed_s: float) -> None:
        """Let ``elapsed_s`` [s] of the viewer's time go by; at the end of the run it stops."""
        if self.playing and not self.dragging:
            self._go_to(self.time_s + elapsed_s * self.speed)
            self.playing = self.time_s < self.seconds

    def handle_event(self, event: pygame.event.Event) -> None:
        """Do what ``event`` asks for; events of no meaning here do nothing."""
        if event.type == pygame.QUIT:
            self.closed = True
        elif event.type == pygame.KEYDOWN:
            self._handle_key(event.key)
        elif event.type == pygame.MOUSEBUTTONDOWN and event.button == 1:
            if self.bar.inflate(0, 16).collidepoint(event.pos):
                self.dragging = True
                self._go_to_place(event.pos[0])
        elif event.type == pygame.MOUSEMOTION and self.dragging:
            self._go_to_place(event.pos[0])
        elif event.type == pygame.MOUSEBUTTONUP and event.button == 1:
            self.dragging = False

    def _handle_key(self, key: int) -> None:
        if key in (pygame.K_q, pygame.K_ESCAPE):
            self.closed = True
        elif key in (pygame.K_h, pygame.K_F1):
            self.help_shown = not self.help_shown
        elif key == pygame.K_SPACE:
            if not self.playing and self.time_s >= self.seconds:
                self.time_s = 0.0
            self.playing = not self.playing
        elif key == pygame.K_UP:
            self.speed_step = min(self.speed_step + 1, len(SPEEDS) - 1)
        elif key == pygame.K_DOWN:
            self.speed_step = max(self.speed_step - 1, 0)
        elif key == pygame.K_LEFT:
            self._go_to(self.time_s - 0.01 * self.seconds)
        elif key == pygame.K_RIGHT:
            self._go_to(self.time_s + 0.01 * self.seconds)
        elif key == pygame.K_HOME:
            self._go_to(0.0)
        elif key == pygame.K_END:
            self._go_to(self.seconds)
        elif key == pygame.K_n:
            following = int(np.searchsorted(self.pulse_s, self.time_s, side="right"))
            if following < len(self.pulse_s):
                self._go_to(float(self.pulse_s[following]))

    def _go_to(self, time_s: float) -> None:
        self.time_s = min(max(time_s, 0.0), self.seconds)

    def _go_to_place(self, x: float) -> None:
        self._go_to((x - self.bar.left) / max(self.bar.width, 1) * self.seconds)
