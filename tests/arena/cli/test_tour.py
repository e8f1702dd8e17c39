"""The README from first to last: each of its commands is run, in its order; its figures are the program's.

What would take a minute or wait for a hand is made shorter by options that say so, and a window is closed
after its first frames. The builder's evening and the notebook have tests of their own.
"""

import os
import re
import shlex
import shutil
from collections.abc import Sequence
from pathlib import Path

os.environ["SDL_VIDEODRIVER"] = "dummy"

import numpy as np
import pytest

from agents.design.spec import read_design
from agents.testbench.bench_figures import bench_point
from agents.text.shipped import configs_folder
from arena.cli.command import photodrome as group
from arena.cli.contest_commands import DEMO_ARENA, DEMO_DESIGNS
from arena.scene.contest import read_contest
from arena.studies.plans.study import read_study
from arena.workbench.dials import DIALS
from replays.drawing.sheet import pygame
from replays.format.replay_file import read_replay
from replays.window import screen
from replays.window.playback import SPEEDS
from tests.arena.cli.test_told_commands import help_texts, told_in
from tests.helpers.commands import ROOT, photodrome

README = (ROOT / "README.md").read_text(encoding="utf-8")
EVENING = README.split("\n### The builder's evening\n")[1].split("\n## ")[0]
PLAN = re.search(r"```yaml\n(photodrome: study 1\n.*?)```", README, re.DOTALL)

# What stands for something of one's own.
OWN = {"FOLDER": "walkers", "PLAN": "feelers.yaml"}
# By how it begins, what makes a command short.
SHORTER = {
    "race ": ["--rounds", "2"],
    "kit ": ["--copies", "20", "--kits", "2"],
    "film ": ["--fps", "1", "--size", "320x320"],
    "tune ": ["--budget", "60"],
}
# Done elsewhere: the words of a mention alone, a shipped study of thousands of trials, and a cluster.
ELSEWHERE = (
    "photodrome check",
    "photodrome picture",
    "photodrome film",
    "photodrome sweep eye-spacing",
    "photodrome sweep …",
    "photodrome sweep PLAN --on tcp://HOST:8786",
)


@pytest.fixture
def _shown(monkeypatch: pytest.MonkeyPatch) -> None:
    """A window that is closed after three frames, which are not all of one colour."""

    def look(shown: screen.WindowContent) -> None:
        surface = pygame.display.get_surface()
        for _ in range(3):
            shown.advance(1 / 60)
            shown.draw(surface)
        assert len(np.unique(pygame.surfarray.array2d(surface))) > 10

    monkeypatch.setattr(screen, "_loop", look)


@pytest.fixture(autouse=True)
def _own_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def run_all(commands: Sequence[str]) -> None:
    """Run commands one after the other, made shorter; each ends well and leaves what it was to write."""
    for one in commands:
        _, *words = shlex.split(one)
        words = [OWN.get(word, word) for word in words]
        for beginning, more in SHORTER.items():
            if one.removeprefix("photodrome ").startswith(beginning):
                words += more
        done = photodrome(*words)
        assert done.code == 0, (one, done.err)
        if "--out" in words:
            assert Path(words[words.index("--out") + 1]).stat().st_size > 100, one


@pytest.mark.usefixtures("_shown")
def test_every_command_of_the_readme_runs() -> None:
    told = [one for one in told_in(README) if one not in ELSEWHERE and one not in told_in(EVENING)]
    assert len(told) > 18
    # what the page tells to write: a design of one's own, a folder of walkers, a plan
    poppy = (configs_folder() / "designs" / "poppy.yaml").read_text(encoding="utf-8")
    assert "latch: 10k" in poppy
    mine = poppy.replace("name: poppy", "name: mine").replace("latch: 10k", "latch: 1k")
    Path("mine.yaml").write_text(mine, encoding="utf-8")
    shutil.copytree(configs_folder() / "lessons" / "walkers", "walkers")
    assert PLAN is not None
    shorter = PLAN[1].replace("repeats: 100", "repeats: 3").replace("lasts: 25 min", "lasts: 1 min")
    Path("feelers.yaml").write_text(shorter, encoding="utf-8")
    run_all(told)
    assert Path("radish.yaml").exists()
    assert len(read_replay(Path("race.replay.npz")).walkers) == 2 * 8


def test_every_command_that_a_help_tells_runs() -> None:
    told = [one for text in help_texts() for one in re.findall(r"photodrome [a-z]+ [^\n]*-[^\n]*$", text)]
    assert len(told) > 5
    shutil.copytree(configs_folder() / "lessons" / "walkers", "walkers")
    [table] = re.findall(r"```text\n(light;side.*?)```", EVENING, re.DOTALL)
    Path("readings.csv").write_text(table, encoding="utf-8")
    run_all(told)


def test_every_option_that_the_readme_names_is_one_of_the_program() -> None:
    spans = re.findall(r"`([^`]+)`", re.sub(r"```.*?```", "", README, flags=re.DOTALL))
    named = {option for span in spans for option in re.findall(r"(?<![\w-])--[a-z][\w-]*", span)}
    assert len(named) > 25
    ours = {
        option
        for command in group.commands.values()
        for parameter in command.params
        for option in (*parameter.opts, *parameter.secondary_opts)
    }
    assert named - ours == set()


def test_the_first_command_of_the_readme() -> None:
    assert "photodrome demo" in README
    assert photodrome("demo", "--no-window", "--duration", "5 min").code == 0
    assert sorted(path.name for path in Path().iterdir()) == ["demo.png", "demo.replay.npz"]


def test_what_a_slip_of_a_unit_or_a_key_is_told() -> None:
    """The page says to try ``latch: 1000`` and ``latsch: 1k``."""
    poppy = (configs_folder() / "designs" / "poppy.yaml").read_text(encoding="utf-8")
    for slip, expected in (("latch: 1000", "ohm"), ("latsch: 1k", "latch")):
        assert slip.split(": ")[0] in README
        Path("mine.yaml").write_text(poppy.replace("latch: 10k", slip), encoding="utf-8")
        told = photodrome("check", "./mine.yaml")
        assert told.code == 2
        assert expected in told.err + told.out


def test_the_plan_of_the_readme_is_sound() -> None:
    poppy = (configs_folder() / "designs" / "poppy.yaml").read_text(encoding="utf-8")
    Path("mine.yaml").write_text(poppy.replace("name: poppy", "name: mine"), encoding="utf-8")
    assert PLAN is not None
    Path("feelers.yaml").write_text(PLAN[1], encoding="utf-8")
    study = read_study(Path("feelers.yaml"))
    # two designs, nine values of E6 from 10k to 220k, two of the lamp
    assert (study.settings, study.repeats) == (2 * 9 * 2, 100)


def figure(pattern: str) -> tuple[str, ...]:
    """What a pattern finds in the README, once and only once, lines unwrapped."""
    [found] = re.findall(pattern, " ".join(README.split()))
    return (found,) if isinstance(found, str) else found


NUMBERS = {"three": 3, "five": 5, "seven": 7, "eight": 8, "twenty-four": 24}


def test_figures_of_the_readme_are_those_of_the_program() -> None:
    walkers, designs = (NUMBERS[word] for word in figure(r"above: ([\w-]+) walkers of (\w+) designs"))
    contest = read_contest(DEMO_ARENA, DEMO_DESIGNS)
    assert (walkers, designs) == (contest.walkers * len(contest.entrants), len(contest.entrants))
    assert NUMBERS[figure(r"with the arena and (\w+) dials")[0]] == len(DIALS)
    eyes, widths, repeats = figure(r"plan: (\w+) eye spacings against (\w+) widths of shadow, (\d+) repeats")
    study = read_study("eye-spacing")
    assert (NUMBERS[eyes] * NUMBERS[widths], int(repeats)) == (study.settings, study.repeats)
    assert figure(r"go from a (quarter) to (1000) times life") == ("quarter", "1000")
    assert (SPEEDS[0], SPEEDS[-1]) == (0.25, 1000.0)


def test_what_the_readme_says_of_amorphous_cells() -> None:
    """A pulse every few minutes at a desk, every 20 to 30 s in the sun."""
    low, high = (
        int(one) for one in figure(r"a pulse every few minutes at a desk, every (\d+) to (\d+) s in the sun")
    )
    design = read_design("primrose")
    desk, sun = (bench_point(design, light).first.between for light in (500.0, 50e3))
    assert 60.0 < desk < 600.0
    assert low <= sun <= high
