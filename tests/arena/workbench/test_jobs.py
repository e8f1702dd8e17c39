"""Light at the meter and the pulse ahead, against formulae and the bench."""

import math
from collections.abc import Callable

import pytest

from agents.design.spec import read_design
from agents.handbook.light_kinds import KINDS, panel_weights
from agents.testbench.bench_figures import bench_point
from arena.scene.spec import read_arena
from arena.workbench.controller import Controller
from arena.workbench.jobs import (
    ForecastJob,
    forecast_pulse,
    light_by_kind,
)
from tests.helpers.workbench import report_nothing


def test_light_at_the_meter_follows_the_inverse_square(make: Callable[..., Controller]) -> None:
    """E = I cos θ / d², with cos θ = h / d: photometry handbooks, from memory."""
    spec = read_arena("open-bench")
    place, height = (1.0, 0.3), 0.03
    found = light_by_kind(spec, place, height)
    lamp = spec.lamps[0]
    rise = lamp.height - height
    distance = math.hypot(math.dist(place, lamp.place), rise)
    expected = dict.fromkeys(KINDS, 0.0)
    expected["sun"] = 1000.0
    expected["incandescent"] = 5000.0 * rise / distance**3
    # the lamp's disc of 80 mm is not quite a point
    assert found == pytest.approx([expected[kind] for kind in KINDS], rel=2e-3)


def test_a_mixture_of_lights_charges_as_its_parts_do_together() -> None:
    spec, design = read_arena("open-bench"), read_design("poppy")
    forecast = forecast_pulse(ForecastJob(spec, design, (1.0, 0.3)), report_nothing)
    by_kind = light_by_kind(spec, (1.0, 0.3), design.panel.height)
    assert forecast.light == pytest.approx(by_kind.sum())
    weights = panel_weights(design.panel.response)
    current = sum(40e-9 * weight * light for weight, light in zip(weights, by_kind, strict=True))
    assert forecast.point.measured.photocurrent == pytest.approx(current, rel=1e-12)
    assert sum(share for _, share in forecast.kinds) == pytest.approx(1.0, abs=0.01)
    # in daylight alone it is the bench's own answer
    only = spec.model_copy(update={"lamps": ()})
    alone = forecast_pulse(ForecastJob(only, design, (1.0, 0.3)), report_nothing)
    assert alone.point == bench_point(design, 1000.0)
    dark = only.model_copy(update={"ambient": only.ambient.model_copy(update={"illuminance": 0.0})})
    assert forecast_pulse(ForecastJob(dark, design, (1.0, 0.3)), report_nothing).causes[0][0] == "dim"
