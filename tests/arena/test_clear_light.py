"""The light that a panel would have without the other walkers, against runs in which there are none."""

from pathlib import Path

import numpy as np

from arena import read_contest, simulate
from replays.format.replay_file import read_replay, write_replay
from replays.scoring.crowds import score_crowds

# A sun so low that a body behind another loses light; a post that shades whether or not anybody is there.
ROW = """photodrome: arena 1
name: row in low sun
floor: {outline: 0 0 / 1 0 / 1 0.6 / 0 0.6 m}
walls:
  - {name: post, outline: 0.5 0.44 / 0.53 0.44 / 0.53 0.5 / 0.5 0.5 m, height: 60 mm}
sun: {azimuth: 0 deg, elevation: 8 deg, illuminance: 20 klx}
ambient: {illuminance: 2 klx}
starts:
  places:
    - {place: 0.42 0.2 m, heading: 0 deg}
    - {place: 0.36 0.2 m, heading: 0 deg}
    - {place: 0.30 0.2 m, heading: 0 deg}
    - {place: 0.44 0.47 m, heading: 0 deg}
lasts: 120 s
"""


def test_it_is_the_light_of_who_has_the_floor_alone(tmp_path: Path) -> None:
    (tmp_path / "row.yaml").write_text(ROW, encoding="utf-8")
    together, alone = (
        simulate(read_contest(tmp_path / "row.yaml", ["poppy"], walkers=4, alone=how))
        for how in (False, True)
    )
    first = [np.searchsorted(one.lights["walker"], np.arange(4)) for one in (together, alone)]
    here, there = (one.lights[rows] for one, rows in zip((together, alone), first, strict=True))
    assert here["clear_panel_lx"].tolist() == there["panel_lx"].tolist()
    # the first has the sun before it, the two behind it stand in one another's shadow, the last in the post's
    lost = 1.0 - here["panel_lx"] / here["clear_panel_lx"]
    assert lost[0] == lost[3] == 0.0
    assert min(lost[1], lost[2]) > 0.2
    assert here["clear_panel_lx"][3] < 0.8 * here["open_panel_lx"][3]
    assert alone.lights["clear_panel_lx"].tolist() == alone.lights["panel_lx"].tolist()
    assert np.all(together.lights["panel_lx"] <= together.lights["clear_panel_lx"])
    assert np.all(together.lights["clear_panel_lx"] <= together.lights["open_panel_lx"] * (1.0 + 1e-3))
    (crowd,) = score_crowds([together])
    assert crowd.shading is not None
    assert 0.05 < crowd.shading < 0.5
    # the file keeps it to the last bit
    write_replay(together, tmp_path / "row.npz")
    again = read_replay(tmp_path / "row.npz")
    assert again.lights.tobytes() == together.lights.tobytes()


def test_a_replay_of_version_1_does_not_tell(tmp_path: Path) -> None:
    old = read_replay(Path(__file__).parents[1] / "replays" / "format" / "version_1.npz")
    assert np.isnan(old.lights["clear_panel_lx"]).all()
    write_replay(old, tmp_path / "again.npz")
    again = read_replay(tmp_path / "again.npz")
    assert np.isnan(again.lights["clear_panel_lx"]).all()
    assert all(one.shading is None for one in score_crowds([again]))
