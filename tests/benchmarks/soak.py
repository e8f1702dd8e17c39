"""A long run condensed: ``python -m tests.benchmarks.soak`` (``--pulses``, ``--walkers``, ``--frames``).

A swarm shares a floor until it has fired a million pulses, and hands on its rows as it goes, as a run does
that is larger than the memory. A window without a screen then plays a crowd's first minutes over and over
for 10,000 frames, while walkers are chosen, causes shown, the floor drawn closer and the paper changed.

Memory is what the process holds (resident set), once the system's allocator, where it can be asked to, has
given back what is free. It rises while the next picture of a floor is being made, and falls again, so what is
compared is the least that is held in each quarter of a part after its warm-up, the first tenth: the four may
be 5 % apart. Told besides is the most that was held, with what the allocator keeps.

The balance of energy is what panels gave, less what went into storage, motors, bases, eyes, leak and series
resistance, as a share of what they gave, for each twentieth of the run by itself. It may be off by 1 %, and
the mean of the last five twentieths by 0.1 % from that of the five after the first. Ends with 1 otherwise.
"""

# ruff: noqa: T201 - printing is what it is for

import argparse
import ctypes
import os
import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass

os.environ.setdefault("SDL_VIDEODRIVER", "dummy")

import numpy as np
import psutil

from agents.text.shipped import shipped_names
from arena.engine.assembly import assemble
from arena.engine.batch import advance_batch
from arena.engine.world_arrays import ENDED, FRESH, FULL
from arena.scene.contest import read_contest
from arena.simulation import OUTPUT_TABLES, _ledger, simulate
from replays.drawing.sheet import pygame
from replays.format.large_tables import Gathering
from replays.format.tables import ORDERS
from replays.window.replay_window import ReplayWindow
from tests.benchmarks.worlds import hall

MOST_GROWTH = 0.05
MOST_OFF = 0.01
MOST_DRIFT = 1e-3

# In which the swarm is stopped and looked at; a walker of the hall fires about this often in a second.
SLICES = 20
LOOKS = 200
PULSES_A_SECOND = 0.04
# Bytes of rows that are held before they go to the disk.
ROOM = 4 << 20

SIZE = (1280, 760)
KEYS = (pygame.K_w, pygame.K_x, pygame.K_v, pygame.K_i, pygame.K_t, pygame.K_g, pygame.K_UP, pygame.K_DOWN)


@dataclass(frozen=True)
class Soaked:
    """What a part of it came to.

    ``memory`` [bytes], (looks, 2), is what :func:`held` tells at each look after the warm-up. ``off``,
    (slices,), is by what share of the energy that panels gave the balance of each slice does not close; empty
    for the window.
    """

    count: int
    seconds: float
    memory: np.ndarray
    off: np.ndarray

    @property
    def growth(self) -> float:
        """How far apart is what the four quarters hold at the least, as a share of the least."""
        least = [float(np.min(quarter)) for quarter in np.array_split(self.memory[:, 1], 4)]
        return max(least) / min(least) - 1.0

    @property
    def drift(self) -> float:
        """How far the balance at the end is from that after the start."""
        quarter = max(len(self.off) // 4, 1)
        return float(abs(np.mean(self.off[-quarter:]) - np.mean(self.off[1 : 1 + quarter])))

    def faults(self) -> list[str]:
        """In words, what is not as it should be."""
        found = []
        if self.growth > MOST_GROWTH:
            found.append(f"memory of the quarters is apart by {100 * self.growth:.1f} %")
        if len(self.off) and np.max(np.abs(self.off)) > MOST_OFF:
            found.append(f"the balance is off by up to {100 * np.max(np.abs(self.off)):.2f} %")
        if len(self.off) and self.drift > MOST_DRIFT:
            found.append(f"the balance drifts by {100 * self.drift:.2f} %")
        return found


def held() -> tuple[int, int]:
    """Memory [bytes] that this process holds, and what is left of it once what is free is given back."""
    process = psutil.Process()
    whole = process.memory_info().rss
    # of the GNU C library; elsewhere the second is the first
    give_back = getattr(ctypes.CDLL(None), "malloc_trim", None) if os.name == "posix" else None
    if give_back is not None:
        give_back(0)
    return int(whole), int(process.memory_info().rss)


def soak_swarm(pulses: int, walkers: int) -> Soaked:
    """Run one world until about so many pulses have been fired, and look at it on the way."""
    began = time.perf_counter()
    seconds = pulses / (walkers * PULSES_A_SECOND)
    batch, spans = assemble(hall(walkers, seconds))
    rows = Gathering(OUTPUT_TABLES, ORDERS, ROOM)
    codes = np.full(1, FRESH)
    memory, ledgers = [], [_ledger(batch)]
    for look in range(1, LOOKS + 1):
        while True:
            advance_batch(batch, spans, codes, seconds * look / LOOKS if look < LOOKS else np.inf)
            for place, name in enumerate(OUTPUT_TABLES):
                table = getattr(batch.out, name)
                rows.add(name, table[0, : batch.out.counts[0, place]].copy())
            batch.out.counts[:, : len(OUTPUT_TABLES)] = 0
            if codes[0] != FULL:
                break
        memory.append(held())
        if look % (LOOKS // SLICES) == 0:
            ledgers.append(_ledger(batch))
    assert codes[0] == ENDED
    fired = len(rows.table("pulses"))
    gained = np.diff(np.sum(ledgers, axis=1), axis=0)
    off = (gained[:, 0] - gained[:, 1:].sum(axis=1)) / gained[:, 0]
    return Soaked(fired, time.perf_counter() - began, np.array(memory[LOOKS // 10 :]), off)


def press(window: ReplayWindow, key: int) -> None:
    """Press a key."""
    window.handle_event(pygame.event.Event(pygame.KEYDOWN, key=key, mod=0, unicode=""))


def soak_window(frames: int) -> Soaked:
    """Play a crowd's first minutes over and over, and use the window meanwhile."""
    began = time.perf_counter()
    replay = simulate(read_contest("potting-bench", shipped_names("design"), 2, 1200.0))
    window = ReplayWindow(replay)
    surface = pygame.display.set_mode(SIZE)
    for _ in replay.walkers:
        # the circuit of each is kept once it has been shown
        press(window, pygame.K_w)
        for _ in range(3):
            window.advance(1 / 60)
            window.draw(surface)
    memory = []
    luck = np.random.default_rng(1)
    for frame in range(frames):
        if not window.player.playing:
            window.player.play()
        if frame % 25 == 0:
            press(window, KEYS[int(luck.integers(len(KEYS)))])
        if frame % 50 == 0:
            across, down = luck.uniform(0.1, 0.6, 2) * SIZE
            place = (int(across), int(down))
            window.handle_event(
                pygame.event.Event(pygame.MOUSEMOTION, pos=place, rel=(0, 0), buttons=(0, 0, 0))
            )
            step = 1 if frame % 100 else -1
            window.handle_event(pygame.event.Event(pygame.MOUSEWHEEL, x=0, y=step, flipped=False))
        window.advance(1 / 60)
        window.draw(surface)
        pygame.display.flip()
        if frame % max(frames // LOOKS, 1) == 0:
            memory.append(held())
    pygame.display.quit()
    return Soaked(frames, time.perf_counter() - began, np.array(memory[len(memory) // 10 :]), np.zeros(0))


def main(arguments: Sequence[str] | None = None) -> int:
    """Print what it came to; 1 where something is not as it should be."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.soak", description=__doc__)
    parser.add_argument("--pulses", type=int, default=1_000_000, help="At least 2,000.")
    parser.add_argument("--walkers", type=int, default=200)
    parser.add_argument("--frames", type=int, default=10_000, help="At least 100.")
    asked = parser.parse_args(arguments)
    code = 0
    for what, one in (
        ("pulses", soak_swarm(asked.pulses, asked.walkers)),
        ("frames", soak_window(asked.frames)),
    ):
        print(f"{one.count:,} {what} in {one.seconds:.0f} s")
        low, most = np.min(one.memory[:, 1]) / 1e6, np.max(one.memory[:, 0]) / 1e6
        print(f"  memory {low:.0f} MB, {100 * one.growth:.1f} % apart; at most {most:.0f} MB")
        if len(one.off):
            print(
                f"  energy balance off by {100 * np.min(one.off):.2g} to {100 * np.max(one.off):.2g} %, "
                f"drift {100 * one.drift:.2g} %"
            )
        for fault in one.faults():
            print(f"  {fault}")
            code = 1
    return code


if __name__ == "__main__":
    sys.exit(main())
