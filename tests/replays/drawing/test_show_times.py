"""The parts of a show follow one another without a gap, and the run goes on through them."""

import numpy as np
import pytest

from replays.drawing.show_times import AGAIN, COUNTDOWN, FINAL, RUN, SLOW, ShowTimes
from replays.format.tables import Replay
from replays.scoring.progress import Progress
from tests.helpers.fabricate import Fabricator, potting_bench


def times_of(replay: Replay) -> ShowTimes:
    return ShowTimes(replay, Progress(replay))


def test_parts_follow_one_another_and_the_run_never_goes_back_before_its_end() -> None:
    replay = potting_bench().replay()
    times = times_of(replay)
    for one, following in zip(times.parts, times.parts[1:], strict=False):
        assert following.begins_s == pytest.approx(one.begins_s + one.lasts_s)
    assert (times.parts[0].what, times.parts[-1].what) == (COUNTDOWN, FINAL)
    again = times.begin_of(AGAIN)
    assert again is not None
    shown = np.array([times.run_time(show_s) for show_s in np.arange(0.0, again, 0.05)])
    assert shown[0] == 0.0
    assert shown[-1] == replay.seconds
    assert (np.diff(shown) >= 0.0).all()


def test_the_finish_is_slow_and_the_decisive_moment_is_shown_again() -> None:
    replay = potting_bench().replay()
    times = times_of(replay)
    assert times.finish_s is not None
    slow = next(part for part in times.parts if part.what == SLOW)
    assert slow.from_s < times.finish_s < slow.to_s
    speeds = {
        part.what: (times.run_time(part.begins_s + 1.5) - times.run_time(part.begins_s + 1.0)) / 0.5
        for part in times.parts
        if part.what in (SLOW, AGAIN)
    }
    assert times.decisive is not None
    again = next(part for part in times.parts if part.what == AGAIN)
    assert again.from_s <= times.decisive[0] <= again.to_s
    assert max(speeds.values()) < 0.2 * replay.seconds / 45.0


def test_a_run_in_which_nothing_happens_still_is_a_show() -> None:
    for made in (Fabricator(seconds=10.0), Fabricator(seconds=36000.0)):
        made.walker(0.5, 0.5)
        times = times_of(made.replay())
        assert {part.what for part in times.parts} >= {COUNTDOWN, RUN, FINAL}
        assert np.isfinite(
            [times.run_time(show_s) for show_s in np.linspace(-1.0, times.seconds + 1.0, 50)]
        ).all()
