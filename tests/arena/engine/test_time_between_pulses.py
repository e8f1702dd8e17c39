"""The bench's time between pulses, against a walker that is run."""

import math

import pytest

from agents.testbench.bench_figures import bench_point
from replays.format.grains import SECOND
from tests.helpers.worlds import World, bench, box, design


@pytest.mark.parametrize(
    ("values", "light"),
    [
        ({}, 10e3),
        # a latch that releases at once, most of the charge still there
        ({"both__motor__resistance": 8.0, "both__latch": 82e3}, 3e3),
        # a wheel that coasts for longer than the storage charges
        (
            {
                "body__drag": 1e-3,
                "both__motor__friction": 1e-6,
                "storage__capacitance": 220e-6,
                "both__coupling": 0.1e-6,
                "panel__current_per_light": 200e-9,
            },
            10e3,
        ),
    ],
)
def test_the_time_between_pulses_is_what_the_bench_says(values: dict[str, float], light: float) -> None:
    """From one start to the next, for eyes whose lobe reads of even light what the panel reads."""
    one = design(
        both__eye__jitter=0.0,
        both__eye__half_angle=math.radians(60.0),
        right__eye__dark_trigger=2.3,
        storage__start=2.0,
        **values,
    )
    point = bench_point(one, light).measured.first
    assert point.between is not None
    assert point.charge is not None
    assert point.coast is not None
    pulses = World(bench(box(2.0, 2.0), ambient=light), [one], [(1.0, 1.0, 0.3)], until=60.0).run().pulses
    between = pulses["start_s"][1] - pulses["start_s"][0]
    assert between == pytest.approx(point.between, rel=1e-3, abs=1.0 / SECOND)
    assert (point.coast > point.charge) == ("body__drag" in values)
