"""Amorphous cells, at a desk and in the sun: what builders see of them (common practice, no source)."""

import pytest

from agents.design.changing import change_design
from agents.design.spec import Design, read_design
from agents.handbook.light_kinds import KINDS
from agents.testbench.bench_figures import bench

LIGHTS = (300.0, 500.0, 1e3, 3e3, 10e3, 30e3, 50e3, 75e3, 100e3)


@pytest.fixture(scope="module")
def primrose() -> Design:
    return read_design("primrose")


def test_it_pulses_every_half_minute_in_the_sun_and_every_few_minutes_at_a_desk(primrose: Design) -> None:
    """20 to 30 s in 50 to 100 klx, minutes at 500 lx: common practice, no source."""
    for point in bench(primrose, [50e3, 75e3, 100e3], "sun"):
        assert point.first.between is not None
        assert 20.0 <= point.first.between <= 30.0
    for kind in ("warm-led", "white-led", "cold-led", "fluorescent", "overcast", "incandescent"):
        (point,) = bench(primrose, [500.0], kind)
        assert point.first.between is not None
        assert 180.0 <= point.first.between <= 360.0


@pytest.mark.parametrize("kind", KINDS)
def test_it_is_healthy_from_a_desk_to_the_sun(primrose: Design, kind: str) -> None:
    """In what lamps give on a desk, and in what the sky does, with the heat that comes along."""
    lights = [light for light in LIGHTS if light <= 3e3 or kind in ("sun", "overcast")]
    assert [point.faults for point in bench(primrose, lights, kind)] == [()] * len(lights)


def test_nothing_but_the_cells_makes_it_so(primrose: Design) -> None:
    """No resistance stands for something else, and with currents in proportion to light it is another."""
    assert primrose.panel.series_resistance <= 300.0
    even = change_design(primrose, {"panel.light_exponent": 1.0})
    in_sun, at_desk = bench(even, [75e3], "sun")[0], bench(even, [500.0], "white-led")[0]
    assert in_sun.first.between is not None
    assert in_sun.first.between < 6.0
    assert at_desk.first.between is not None
    crystalline = change_design(
        primrose, {"panel.response": "crystalline-silicon", "panel.light_exponent": 1.0}
    )
    (dim,) = bench(crystalline, [500.0], "white-led")
    assert dim.first.between is None or dim.first.between > 1.5 * at_desk.first.between


def test_the_label_of_its_cells_is_met(primrose: Design) -> None:
    assert max(fit.worst for fit in primrose.panel.fits) < 1e-3
