"""Prints how long the window takes for a frame: 10, 200 and 2,000 walkers, without a graphics card.

    python -m tests.benchmarks.window

Walkers run one by one, so that any number fits on the floor; to draw them costs the same. A frame has 16.7 ms
if there are to be 60 a second.
"""

# ruff: noqa: T201
import os
import time
from collections.abc import Callable

os.environ["SDL_VIDEODRIVER"] = "dummy"

import numpy as np

from arena.scene.contest import read_contest
from arena.simulation import simulate
from replays.drawing.sheet import pygame
from replays.format.tables import Replay
from replays.window.replay_window import ReplayWindow

SIZE = (1280, 760)
FRAMES = 300
Step = Callable[[ReplayWindow, int], None]


def press(window: ReplayWindow, key: int) -> None:
    """Press a key."""
    window.handle_event(pygame.event.Event(pygame.KEYDOWN, key=key, mod=0, unicode=""))


def play(window: ReplayWindow, number: int) -> None:
    """Let a sixtieth of a second go by."""
    window.advance(1 / 60)


def scrub(window: ReplayWindow, number: int) -> None:
    """Go somewhere else, as if the bar were dragged to and fro."""
    window.player.go_to(window.replay.seconds * (0.5 + 0.5 * float(np.sin(0.13 * number))))
    window.advance(1 / 60)


def wheel(window: ReplayWindow, number: int) -> None:
    """Come closer, and go away again."""
    step = 1 if number % 40 < 20 else -1
    window.handle_event(pygame.event.Event(pygame.MOUSEWHEEL, x=0, y=step, flipped=False))
    window.advance(1 / 60)


def measure(replay: Replay, keys: tuple[int, ...], start: float, step: Step) -> np.ndarray:
    """Time [ms] of each frame of a window of which ``keys`` were pressed, from a share of the run on."""
    surface = pygame.display.set_mode(SIZE)
    window = ReplayWindow(replay)
    window.handle_event(pygame.event.Event(pygame.MOUSEMOTION, pos=(500, 300), rel=(0, 0), buttons=(0, 0, 0)))
    for key in keys:
        press(window, key)
    window.player.go_to(start * replay.seconds)
    for _ in range(200):
        window.draw(surface)
        window.advance(0.001)
    times = []
    for number in range(FRAMES):
        began = time.perf_counter()
        step(window, number)
        window.draw(surface)
        pygame.display.flip()
        times.append(1e3 * (time.perf_counter() - began))
    return np.array(times)


def main() -> None:
    """Measure and print."""
    pygame.display.init()
    faster = (pygame.K_UP,) * 9
    cases: list[tuple[str, tuple[int, ...], float, Step]] = [
        ("playing 20 times as fast as life", (), 0.3, play),
        ("playing 1000 times as fast", faster, 0.0, play),
        ("the same with the causes of a walker", (*faster[:3], pygame.K_w), 0.3, play),
        ("scrubbing", (), 0.3, scrub),
        ("coming closer and going away", (), 0.3, wheel),
    ]
    for walkers in (10, 200, 2000):
        contest = read_contest("potting-bench", ["poppy"], walkers=walkers, seconds=3600.0, alone=True)
        replay = simulate(contest)
        size = f"{SIZE[0]} x {SIZE[1]}"
        print(f"{walkers} walkers, {len(replay.pulses)} pulses, {len(replay.poses)} poses, {size}")
        for words, keys, start, step in cases:
            times = measure(replay, keys, start, step)
            within = 100.0 * float(np.mean(times <= 1000.0 / 60.0))
            print(
                f"  {words:40s} median {np.median(times):6.1f} ms   "
                f"95 % {np.percentile(times, 95):6.1f} ms   longest {times.max():6.1f} ms   "
                f"{within:3.0f} % within a sixtieth of a second"
            )


if __name__ == "__main__":
    main()
