"""Replays of every version are read; what a version keeps less finely is far below what scores can tell."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from agents.errors import ReplayError
from replays.causes.traces import Circuits
from replays.format.header import VERSION
from replays.format.replay_file import read_replay, write_replay
from replays.format.tables import Replay
from replays.scoring.scores import DesignScore, score

# The corner trap with cells of 50 mm, two copies each of poppy and lentil, 600 s, seed 5.
FIRST = Path(__file__).parent / "version_1.npz"
# What that program scored of it before it wrote the file.
SCORED = {
    "poppy": {
        "pulses": 68,
        "progress": 0.43377380738144455,
        "light_gain": 1.257337787100833,
        "directness": 0.8793998637720906,
        "median_turn_deg": 48.34142410758969,
        "aim": 0.9007962387751504,
        "aim_resultant": 0.9029601894143632,
        "contacts": 2,
        "escape_share": 0.0,
        "stuck_share": 0.0,
    },
    "lentil": {
        "pulses": 52,
        "progress": 0.3826439249369883,
        "light_gain": 1.3088788203373278,
        "directness": 0.8387992296610487,
        "median_turn_deg": 50.75770242046007,
        "aim": 0.8305531567802416,
        "aim_resultant": 0.8482036247290063,
        "contacts": 1,
        "escape_share": 0.0,
        "stuck_share": 0.22484880397216364,
    },
}


def told(scores: list[DesignScore]) -> dict[str, dict[str, float]]:
    return {one.design: {name: getattr(one, name) for name in SCORED[one.design]} for one in scores}


def test_a_replay_of_version_1_is_read_with_every_digit() -> None:
    replay = read_replay(FIRST)
    assert replay.header["version"] == 1
    for design, scores in told(score(replay)).items():
        assert scores == pytest.approx(SCORED[design], rel=1e-12)


@pytest.mark.parametrize("shape", [(1, -1), (-1, 1)])
def test_a_table_of_version_1_in_another_shape_is_refused(shape: tuple[int, int], tmp_path: Path) -> None:
    with np.load(FIRST) as members:
        held = {name: members[name] for name in members.files}
    np.savez(tmp_path / "it.npz", **(held | {"lights": held["lights"].reshape(shape)}))
    with pytest.raises(ReplayError, match="lights has 2 dimensions, where 1 belong"):
        read_replay(tmp_path / "it.npz")


def test_it_keeps_its_scores_as_a_replay_of_today(tmp_path: Path) -> None:
    """Within 0.1 % of them, or 0.001; intervals of a few walkers are a hundred times as wide."""
    again = as_of_today(read_replay(FIRST), tmp_path)
    assert again.header["version"] == VERSION
    for design, scores in told(score(again)).items():
        assert scores == pytest.approx(SCORED[design], rel=1e-3, abs=1e-3)


def test_its_circuits_are_worked_out_alike(tmp_path: Path) -> None:
    """Triggers of a replay of today are those of every digit within 0.1 mV and the 0.05 % of the light.

    Of a trigger that rises by 0.7 V a decade, 0.05 % of light are 0.15 mV.
    """
    exact = read_replay(FIRST)
    kept = as_of_today(exact, tmp_path)
    before, after = Circuits(exact), Circuits(kept)
    for walker in range(len(exact.walkers)):
        one, other = before.trace(walker), after.trace(walker)
        assert one.waits == other.waits
        for number in range(one.waits):
            first, second = one.wait(number), other.wait(number)
            assert first.triggers[-1] == pytest.approx(second.triggers[-1], abs=2.5e-4)
            assert first.rail[-1] == pytest.approx(second.rail[-1], abs=3e-3)
            assert first.pressed[-1].tolist() == second.pressed[-1].tolist()


def as_of_today(replay: Replay, folder: Path) -> Replay:
    path = folder / "today.replay.npz"
    write_replay(replay, path)
    return read_replay(path)


@pytest.mark.parametrize("draw", range(3))
def test_scores_hardly_depend_on_what_is_not_kept(tmp_path: Path, draw: int) -> None:
    """With anything within a grain added to all that is kept, scores stay within a hundredth of themselves.

    Times, places, headings and light: what was cut off a run's values is such a draw.
    """
    kept = as_of_today(read_replay(FIRST), tmp_path)
    luck = np.random.default_rng(draw)
    poses, pulses, lights = kept.poses.copy(), kept.pulses.copy(), kept.lights.copy()
    for table, names in ((poses, ("x", "y")), (pulses, ("x0", "y0", "x1", "y1"))):
        for name in names:
            table[name] += luck.uniform(-0.5, 0.5, len(table)) / 2.0**13
    for table, names in ((poses, ("heading",)), (pulses, ("heading0", "heading1"))):
        for name in names:
            table[name] += luck.uniform(-0.5, 0.5, len(table)) * 2.0 * np.pi / 4096
    for name in ("left_lx", "right_lx", "panel_lx", "open_panel_lx"):
        lights[name] *= 1.0 + luck.uniform(-0.5, 0.5, len(lights)) / 2.0**10
    for design, scores in told(score(replace(kept, poses=poses, pulses=pulses, lights=lights))).items():
        assert scores == pytest.approx(told(score(kept))[design], rel=1e-2, abs=1e-3)
