"""What the end of a run writes of a pulse that it cuts off, and into tables that are full."""

import numpy as np
import pytest

from replays.format.grains import METRE, SECOND, VOLT
from replays.format.tables import CUT_OFF, LET_GO
from tests.helpers.worlds import World, bench, box, design

STILL = design("fennel", both__eye__jitter=0.0, storage__start=2.0)


def two(until: float, rows: dict[str, int] | None = None) -> World:
    """Two alike that fire together, far apart."""
    poses = [(0.5, 0.5, 0.0), (1.5, 0.5, 1.0)]
    return World(bench(box(2.0, 1.0), ambient=5000.0), [STILL] * 2, poses, until=until, rows=rows)


def test_the_end_of_a_run_cuts_off_the_pulse_and_the_way_to_rest() -> None:
    """Told is how far both have come by then: on with the motor, and after it has been let go."""
    whole = two(60.0).run().pulses[0]
    assert whole["ended"] == LET_GO
    assert whole["start_s"] < whole["let_go_s"] < whole["rest_s"]
    middle = 0.5 * (whole["start_s"] + whole["let_go_s"])
    coasting = 0.5 * (whole["let_go_s"] + whole["rest_s"])
    for until in (middle, coasting):
        ended = two(until).run()
        pulses = ended.pulses
        assert pulses["walker"].tolist() == [0, 1]
        assert np.all(pulses["ended"] == CUT_OFF)
        assert pulses["start_s"] == pytest.approx(whole["start_s"], abs=1.0 / SECOND)
        assert pulses["rest_s"] == pytest.approx(until, abs=1.0 / SECOND)
        assert pulses["let_go_s"] == pytest.approx(min(until, whole["let_go_s"]), abs=1.0 / SECOND)
        if until == middle:
            assert pulses["let_go_V"] == pytest.approx(ended.bodies["state"]["rail"], abs=1.0 / VOLT)
            assert np.all(pulses["let_go_V"] > whole["let_go_V"])
        else:
            assert pulses["let_go_V"] == pytest.approx(whole["let_go_V"], abs=1.0 / VOLT)
        assert 0.0 < pulses["path_m"][0] < whole["path_m"]
        assert pulses["x1"] == pytest.approx(ended.bodies["x"], abs=0.5 / METRE)
        assert np.all(np.abs(pulses["x1"] - pulses["x0"]) > 1e-3)


def test_tables_that_are_full_at_the_end_are_emptied_between_walkers() -> None:
    until = float(np.mean(two(60.0).run().pulses[0][["start_s", "let_go_s"]].tolist()))
    large = two(until).run()
    small = two(until, {"pulses": 2, "poses": 16, "touches": 24, "lights": 12}).run()
    assert small.emptied > large.emptied
    for name in ("pulses", "poses", "lights"):
        assert len(large.table(name)) > 1
        assert np.array_equal(small.table(name), large.table(name)), name
