"""The map of light that a replay carries: as fine as the arena says, and never the dearest part of a run."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.interpolate import RegularGridInterpolator

from agents.text.shipped import shipped_names
from arena.recording import map_cell, map_of
from arena.scene.contest import read_contest
from arena.scene.spec import ArenaSpec
from arena.simulation import simulate


def under_lamps(lamps: int, cell: float = 0.01) -> ArenaSpec:
    """A bench of 3 m by 2 m under so many lamps of 40 cd, 600 mm up, all over it."""
    draw = np.random.default_rng(lamps)
    places = draw.uniform((0.0, 0.0), (3.0, 2.0), (lamps, 2)).tolist()
    spec = read_contest("one-lamp", ["poppy"]).arena
    floor = spec.floor.model_copy(update={"outline": ((0.0, 0.0), (3.0, 0.0), (3.0, 2.0), (0.0, 2.0))})
    one = spec.lamps[0]
    hung = tuple(
        one.model_copy(update={"name": f"lamp {k}", "place": tuple(at)}) for k, at in enumerate(places)
    )
    return spec.model_copy(update={"floor": floor, "lamps": tuple(hung), "cell": cell})


@pytest.mark.parametrize("name", shipped_names("arena"))
def test_a_shipped_arena_has_the_cells_that_its_file_says(name: str) -> None:
    spec = read_contest(name, ["poppy"]).arena
    assert map_cell(spec) == spec.cell


@pytest.mark.parametrize(
    ("lamps", "cell", "cells"),
    [(1, 0.001, 1 << 18), (8, 0.001, 250_000), (40, 0.004, 50_000), (400, 0.01, 20_000), (400, 0.1, 600)],
)
def test_no_more_cells_than_a_picture_shows_and_fewer_under_many_lamps(
    lamps: int, cell: float, cells: int
) -> None:
    spec = under_lamps(lamps, cell)
    wide = map_cell(spec)
    assert wide >= cell
    assert 3.0 * 2.0 / wide**2 == pytest.approx(cells, rel=0.01)


def test_the_coarser_map_of_a_replay_lies_where_its_header_says() -> None:
    """Between its cells there is the light that is worked out at places of other cells."""
    contest = read_contest("one-lamp", ["poppy"], walkers=1, seconds=1.0)
    spec = under_lamps(400)
    replay = simulate(replace(contest, arena=spec))
    placed = replay.header["light_map"]
    rows, columns = replay.light_map.shape
    assert rows * columns <= 1.02 * 20_000
    assert placed["cell"] == map_cell(spec)
    assert (columns, rows) == tuple(math.ceil(length / placed["cell"] - 1e-9) for length in (3.0, 2.0))
    rough = map_of(under_lamps(400, 0.1), 0.03)
    axes = [placed["cell"] * (np.arange(count) + 0.5) for count in (rows, columns)]
    between = RegularGridInterpolator(axes, replay.light_map.astype(np.float64))
    row, column = np.mgrid[: len(rough), : rough.shape[1]]
    np.testing.assert_allclose(between((0.1 * (row + 0.5), 0.1 * (column + 0.5))), rough, rtol=0.01)
