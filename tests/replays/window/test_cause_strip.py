"""The causes: every share adds up, a pulse's motion is that of the replay, walkers share one axis of time."""

import math
import re

import numpy as np
import pytest

from arena.scene.contest import read_contest
from arena.simulation import simulate
from replays.causes.sentences import pulse_cause
from replays.causes.traces import Circuits
from replays.drawing.layout import Box
from replays.drawing.sheet import Sheet, pygame
from replays.format.tables import Replay
from replays.window.cause_strip import draw_causes, share_words
from replays.window.player import Player
from replays.window.pulse_plots import pulse_curves, round_up


@pytest.fixture(scope="module")
def replay() -> Replay:
    contest = read_contest("corner-trap", ["poppy", "sunflower"], walkers=3, seconds=900.0, seed=5)
    return simulate(contest, threads=1)


def test_the_shares_that_are_told_add_up_to_the_sum_that_is_told(replay: Replay) -> None:
    circuits = Circuits(replay)
    told = 0
    for walker in range(len(replay.walkers)):
        trace = circuits.trace(walker)
        for number, pulse in enumerate(trace.pulses[:25]):
            words = share_words(trace, float(pulse["start_s"]))
            cause = pulse_cause(trace, number)
            assert bool(words) == bool(cause.shares)
            if not words:
                continue
            told += 1
            whole, *parts = (float(one) for one in re.findall(r"[-+]?[0-9]+(?:\.[0-9]+)?", words))
            assert sum(parts) == pytest.approx(whole, abs=1e-9)
            assert whole == pytest.approx(1e3 * sum(cause.shares.values()), abs=0.51)
            for part, share in zip(parts, cause.shares.values(), strict=True):
                assert part == pytest.approx(1e3 * share, abs=2.1)
    assert told > 40


def test_speed_and_turn_of_a_pulse_are_those_of_the_replay(replay: Replay) -> None:
    trace = Circuits(replay).trace(0)
    for number, pulse in enumerate(trace.pulses[:20]):
        times, speed, turn = trace.motion(number)
        assert times[0] == pulse["start_s"]
        way = float((speed[1:] * np.diff(times)).sum())
        assert way == pytest.approx(float(pulse["path_m"]), rel=0.05, abs=2e-4)
        assert turn[-1] == pytest.approx(float(trace.turns[number]), abs=0.02)
        current = pulse_curves(trace, number)[0].values
        assert current.max() == pytest.approx(1e3 * float(pulse["peak_A"]), rel=0.02)


@pytest.mark.parametrize("size", [(384.0, 626.0), (1264.0, 173.0), (340.0, 266.0), (1264.0, 420.0)])
@pytest.mark.parametrize("count", [1, 3])
def test_nothing_of_the_causes_lies_outside_of_their_card(
    replay: Replay, size: tuple[float, float], count: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    outside: list[str] = []
    text = Sheet.text
    box = Box(20.0, 30.0, *size)

    def noted(
        self: Sheet, words: str, place: tuple[float, float], letters: int, *rest: object, **more: float
    ) -> None:  # type: ignore[override]
        width, height = self.text_size(words, letters)
        left = place[0] - more.get("across", 0.0) * width
        top = place[1] - more.get("down", 0.0) * height
        if not (box.holds((left, top), 6.0) and box.holds((left + width, top + height), 6.0)):
            outside.append(words)
        assert letters >= 14
        text(self, words, place, letters, *rest, **more)  # type: ignore[arg-type]

    monkeypatch.setattr(Sheet, "text", noted)
    circuits = Circuits(replay)
    told = [(f"walker {walker}", circuits.trace(walker)) for walker in range(count)]
    sheet = Sheet(pygame.Surface((1400, 800)))
    for time_s in (0.0, 400.0, 900.0):
        view = draw_causes(sheet, box, told, time_s)
        assert view.time(view.x(400.0)) == pytest.approx(400.0)
        assert box.holds((view.plot.left, view.plot.top))
        assert box.holds((view.lights.right, view.lights.bottom))
    assert outside == []


def test_a_walker_is_compared_with_the_leader_and_with_its_copies(replay: Replay) -> None:
    player = Player(replay)
    order = np.array([5, 3, 1, 0, 2, 4])
    assert player.compared(order) == []
    player.choose(1)
    told = []
    for _ in range(4):
        told.append(player.compared(order))
        player.actions["beside"]()
    # walkers 0 to 2 are of the first design, 3 to 5 of the second: copy 2 is number 1 and number 4
    assert told == [[1], [1, 5], [1, 5, 4], [1, 5, 4, 3]]
    assert player.beside == 0


def test_scales_end_at_round_numbers() -> None:
    for value in (0.004, 0.9, 1.0, 7.3, 95.0, 412.0):
        assert value <= round_up(value) <= 1.7 * value + 1e-12
        assert math.log10(round_up(value)) == pytest.approx(math.log10(float(f"{round_up(value):.2g}")))
    assert round_up(0.0) == round_up(-3.0) == 0.0
