"""Prints what the window does with a screen: shares, names, contrast and letters, and how long frames take.

    python -m tests.benchmarks.window [measures]

With 10, 200 and 2,000 walkers, without a graphics card. Walkers run one by one, so that any number fits on
the floor; to draw them costs the same. A frame has 16.7 ms if there are to be 60 a second.
With ``measures`` it leaves out what takes time.
"""

# ruff: noqa: T201
import os
import sys
import time
from collections.abc import Callable
from functools import partial
from typing import Protocol

os.environ["SDL_VIDEODRIVER"] = "dummy"

import numpy as np

from arena.recording import describe_arena
from arena.scene.contest import read_contest
from arena.scene.spec import read_arena
from arena.simulation import simulate
from arena.workbench.controller import Controller
from arena.workbench.jobs import RaceTerms
from arena.workbench.layout import lay_out_workbench, scale_of
from arena.workbench.view import WorkbenchView
from arena.workbench.window import set_up
from replays.drawing.layout import Box
from replays.drawing.metres_to_points import bounds
from replays.drawing.projector_page import LETTERS, TEXT, ProjectorPage
from replays.drawing.sheet import pygame
from replays.format.tables import Replay
from replays.window.camera import Camera
from replays.window.playback import SPEEDS
from replays.window.replay_window import ReplayWindow
from tests.helpers.window_measures import (
    ARENAS,
    contrasts,
    crowd_in,
    floor_share,
    label_faults,
    measure_floor,
    settled,
)
from tests.helpers.workbench import drag, settle_all

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


def print_measures() -> None:
    """Shares of the floor, faults of names, contrast, and letters for a whole room."""
    print("share of the window that the floor takes, alone / with the causes, and faults of the names on it")
    for name in ARENAS:
        replay = crowd_in(name)
        told = []
        for size in ((1280, 720), (1920, 1080), (800, 600)):
            window = ReplayWindow(replay)
            window.player.playing = False
            settled(window, size)
            alone, faults = floor_share(window), len(label_faults(window))
            press(window, pygame.K_w)
            window.draw(pygame.Surface(size))
            told.append(
                f"{size[0]} x {size[1]}: {100 * alone:.0f} / {100 * floor_share(window):.0f} %, {faults}"
            )
        print(f"  {name:20s} {'   '.join(told)}")
    print("workbench: share of the room for the floor / of the floor, beside the panel, and without it")
    for name in ARENAS:
        told = []
        for size in ((1280, 720), (1280, 1024), (1920, 1080), (3840, 2160)):
            scale = scale_of(*size)
            points = (size[0] / scale, size[1] / scale)
            for shown in (True, False):
                arena = describe_arena(read_arena(name), "")
                west, south, east, north = bounds(arena)
                wide, high = map(round, points)
                aspect = (north - south) / (east - west)
                plan = lay_out_workbench(wide, high, aspect, panel_shown=shown).plan
                measured = measure_floor(Camera(bounds(arena)).view(Box(*map(float, plan))), arena, points)
                told.append(f"{100 * measured.room:.0f} / {100 * measured.floor:.0f}")
            told[-2:] = [f"{size[0]} x {size[1]}: {told[-2]}, {told[-1]} %"]
        print(f"  {name:20s} {'   '.join(told)}")
    print("least contrast of each sort of pair, and what is asked for")
    for pair, (found, least) in contrasts().items():
        print(f"  {pair:40s} {found:5.2f}  ({least})")
    print("projector: share of the part / of the floor itself, letters over the height, places told")
    for size in ((1280, 720), (1920, 1080)):
        for letters in LETTERS:
            page = ProjectorPage(crowd_in("slalom", 30), *size, yours=0, letters=letters)
            share, height = page.floor_share(), TEXT * page.scale / size[1]
            rows = 0 if page.board is None else int(page.board.height // 18)
            floor = measure_floor(page.view, page.replay.arena, page.size).floor
            print(
                f"  {size[0]} x {size[1]}, letters x {letters}: "
                f"{100 * share:.0f} / {100 * floor:.0f} %, 1/{1 / height:.1f}, {rows}"
            )
    print("ways drawn at 99 % of a run")
    replay = crowd_in("potting-bench", 24)
    for speed in (100.0, 200.0, 500.0, 1000.0):
        window, surface = ReplayWindow(replay), pygame.Surface(SIZE)
        window.player.speed_step = SPEEDS.index(speed)
        while window.player.time_s < 0.99 * replay.seconds:
            window.draw(surface)
            window.advance(1 / 60)
        window.draw(surface)
        print(f"  {speed:5.0f} times life: {100 * window._stage.drawn_share(window.player.time_s):.0f} %")
    print_first_frames(replay)
    print_large_crowd()


LARGE = (3840, 2160)
CHANGES = ("theme", "larger", "legend", "lead", "help", "help", "closer", "away", "start", "end")
# what the workbench has of them, and what only it has
BENCH_CHANGES = (*(one for one in CHANGES if one not in ("legend", "lead")), "more", "more", "values")


class Shown(Protocol):
    """A window of which frames are measured."""

    def draw(self, surface: pygame.Surface) -> None:
        """Draw a frame."""

    def advance(self, elapsed_s: float) -> None:
        """Let time go by."""


def slowest_frame(shown: Shown, surface: pygame.Surface, change: Callable[[], None]) -> tuple[float, float]:
    """Processor time [ms] of the first frame after a change, and of the slowest until all of it is drawn."""
    for _ in range(60):
        shown.draw(surface)
        shown.advance(0.02)
    times = []
    began = time.process_time()
    change()
    for _ in range(60):
        shown.draw(surface)
        times.append(1e3 * (time.process_time() - began))
        shown.advance(0.02)
        began = time.process_time()
    return times[0], max(times)


def print_large_crowd() -> None:
    """How long frames of a large crowd take on a large screen, from the first on."""
    print(f"processor time of frames with 2,000 walkers at {LARGE[0]} x {LARGE[1]}")
    surface = pygame.Surface(LARGE)
    window = ReplayWindow(crowd_in("potting-bench", 2000), scale=2.0)
    window.player.go_to(300.0)
    for words, action in (
        ("opening", ""),
        ("playing", ""),
        ("with lanes", "lead"),
        ("a walker", "next walker"),
    ):
        if action:
            window.act(action)
        times = []
        for _ in range(40):
            began = time.process_time()
            window.advance(1 / 60)
            window.draw(surface)
            times.append(1e3 * (time.process_time() - began))
        print(f"  {words:20s} {np.median(times):4.0f} ms, slowest {max(times):4.0f} ms")


def print_first_frames(replay: Replay) -> None:
    """How long frames take after a change on a large screen, in both windows."""
    print(f"processor time of the first and of the slowest frame after a change at {LARGE[0]} x {LARGE[1]}")
    window, surface = ReplayWindow(replay, scale=2.0), pygame.Surface(LARGE)
    window.player.playing = False
    for action in CHANGES:
        first, slowest = slowest_frame(window, surface, partial(window.act, action))
        print(f"  {'window, ' + action:20s} {first:4.0f} ms {slowest:4.0f} ms")
    state = set_up("potting-bench", ["poppy"], RaceTerms(walkers=12, seconds=600.0))
    controller = Controller(state)
    view = WorkbenchView(controller)
    state.refresh()
    settle_all(controller)
    for action in BENCH_CHANGES:
        first, slowest = slowest_frame(view, surface, partial(controller.act, action))
        controller.asked = None
        print(f"  {'workbench, ' + action:20s} {first:4.0f} ms {slowest:4.0f} ms")

    def carry() -> None:
        assert controller.view is not None
        lamp = state.floor.spec.lamps[0].place
        drag(controller, controller.view(*lamp), controller.view(lamp[0] - 0.1, lamp[1]), drop=False)

    first, slowest = slowest_frame(view, surface, carry)
    print(f"  {'workbench, carry':20s} {first:4.0f} ms {slowest:4.0f} ms")
    state.close()


def main() -> None:
    """Measure and print."""
    pygame.display.init()
    print_measures()
    if "measures" in sys.argv:
        return
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
