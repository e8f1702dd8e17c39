"""The line at the foot of a film: true sentences, each long enough to be read, in letters that have room."""

import itertools

import numpy as np
import pytest

from agents.errors import ReplayError
from arena.scene.contest import read_contest
from arena.simulation import simulate
from replays.causes.cause_ticker import HELD_S, CauseTicker
from replays.causes.sentences import pulse_cause
from replays.causes.traces import Circuits
from replays.drawing.figures import walker_name
from replays.drawing.films import Shooting, frame_times, frames
from replays.drawing.sheet import Sheet, pygame
from replays.drawing.sizes import size_of
from replays.drawing.theme import DARK, LIGHT
from replays.drawing.ticker_strip import TickerStrip
from replays.format.tables import Replay
from replays.words import clock_words
from tests.replays.window.test_care import contrast

RATE = 10.0


@pytest.fixture(scope="module")
def replay() -> Replay:
    return simulate(
        read_contest("corner-trap", ["poppy", "cress"], walkers=2, seconds=240, seed=3), threads=1
    )


def names(replay: Replay) -> list[str]:
    return [walker_name(replay, one) for one in range(len(replay.walkers))]


@pytest.mark.parametrize("walker", [None, 1])
def test_sentences_are_those_of_the_causes_and_stand_long_enough(replay: Replay, walker: int | None) -> None:
    ticker, circuits = CauseTicker(replay, names(replay), walker), Circuits(replay)
    pulses = replay.pulses[np.argsort(replay.pulses["start_s"], kind="stable")]
    shown = []
    for number, time_s in enumerate(frame_times(replay, Shooting(rate=RATE)).tolist()):
        words = ticker.words(number / RATE, time_s)
        if not shown or shown[-1][1] != words:
            shown.append((number / RATE, words))
        if not words:
            assert not np.any(
                (pulses["start_s"] <= time_s) & ((walker is None) | (pulses["walker"] == walker))
            )
    told = [(now, words) for now, words in shown if words]
    assert len(told) >= 4
    assert min(b[0] - a[0] for a, b in itertools.pairwise(told)) >= HELD_S - 1e-9
    true = {}
    for one in range(len(replay.walkers)):
        trace = circuits.trace(one)
        for number, pulse in enumerate(trace.pulses):
            head = f"{clock_words(float(pulse['start_s']))} {names(replay)[one]}"
            true.setdefault(head, set()).add(pulse_cause(trace, number).words)
    for _, words in told:
        head, _, sentence = words.partition(": ")
        head = head.partition(" (")[0]
        assert sentence in true[head]
        assert walker is None or head.endswith(names(replay)[walker])


def test_a_run_that_goes_back_is_told_once_more(replay: Replay) -> None:
    ticker = CauseTicker(replay, names(replay))
    starts = np.sort(replay.pulses["start_s"])
    first = ticker.words(0.0, float(starts[0]))
    last = ticker.words(10.0, replay.seconds)
    assert first != last
    assert f"(the last of {len(starts) - 1} pulses)" in last
    assert ticker.words(20.0, float(starts[0])) == first
    with pytest.raises(ReplayError, match="1 names for 4 walkers"):
        CauseTicker(replay, ["poppy 1"])


@pytest.mark.parametrize("size", ["320x320", "640x400", "960x540", "phone", "slide"])
def test_the_strip_has_legible_letters_and_stays_in_its_place(replay: Replay, size: str) -> None:
    measured = size_of(size)
    strip = TickerStrip(measured.width, measured.scale, LIGHT)
    assert contrast(LIGHT.ink, LIGHT.card) >= 4.5
    assert contrast(DARK.ink, DARK.card) >= 4.5
    words = "0:01:00 poppy 1: left fired: its eye had 1.17 klx against 3.71 klx, 0.32 V earlier"
    surface = pygame.Surface((measured.width, measured.height))
    surface.fill((1, 2, 3))
    strip.draw(surface, words)
    pixels = pygame.surfarray.array3d(surface)
    above, foot = pixels[:, : -strip.height], pixels[:, -strip.height :]
    assert (above == (1, 2, 3)).all()
    assert strip.height < 0.32 * measured.height
    # nothing of it runs over an edge, and letters are no smaller than those of the legend
    ink = (np.abs(foot.astype(int) - LIGHT.ink) < 40).all(axis=2)[:, 4:]
    assert ink.any()
    assert not ink[-2:].any()
    assert not ink[:2].any()
    assert not ink[:, -2:].any()
    sheet = Sheet(surface, measured.scale)
    assert sheet.text_size("H", 15)[1] * measured.scale >= 13.0
    # far too long a sentence is cut off with dots, within the strip
    strip.draw(surface, f"{words} " * 9)
    assert (pygame.surfarray.array3d(surface)[:, : -strip.height] == (1, 2, 3)).all()


def test_a_film_with_a_ticker_has_it_below_the_picture(replay: Replay) -> None:
    size, asked = size_of("640x400"), []

    def ticker(now_s: float, time_s: float) -> str:
        asked.append((now_s, time_s))
        return f"{time_s:.0f} s"

    made = list(frames(replay, Shooting(rate=1.0, to_s=40.0, speed=20.0), size, LIGHT, None, ticker))
    assert made[0].shape == (400, 640, 3)
    assert len(asked) == len(made)
    height = TickerStrip(size.width, size.scale, LIGHT).height
    assert (made[0][-height + 3 :] == LIGHT.card).all(axis=2).mean() > 0.9
    assert not np.array_equal(made[0][-height:], made[-1][-height:])
