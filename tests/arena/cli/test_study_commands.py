"""The commands sweep and tune, used as meant and not: what they print, what they write, what they refuse."""

import csv
import json
import re
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import stats

from agents.design.spec import read_design
from arena.studies.plans.study import AS_IT_IS, Setting, Study, parse_study
from arena.studies.search import tuning as tune_module
from arena.studies.trial_scores import TRIAL
from tests.helpers.commands import FLOOR, START_AND_GOAL, photodrome

Records = NDArray[np.void]

# A bench on which every walker that walks comes to the goal, which lies all round it.
ARENA = (
    FLOOR
    + """\
lamps:
  - name: lamp
    place: 0.9 0.5 m
    height: 500 mm
    light: incandescent
    intensity: 3000 cd
ambient:
  illuminance: 5 klx
"""
    + START_AND_GOAL
)

DESIGN = """\
photodrome: design 1
name: borage
both:
  eye:
    aside: 25 mm    # a remark that stays
spread:
  both.eye.dark_trigger: { normal: 60 mV }
"""

# A floor on which no walker has room.
TINY = """photodrome: arena 1
name: box
floor: { outline: 0 0 / 50 0 / 50 50 / 0 50 mm }
starts: { zone: { outline: 10 10 / 40 10 / 40 40 / 10 40 mm, number: 1 } }
goals: [{ name: corner, centre: 30 30 mm, radius: 10 mm }]
"""

PLAN = """\
photodrome: study 1
name: shed study
arenas: [./floor.yaml]
designs: [./borage.yaml]
vary:
{vary}
repeats: {repeats}
lasts: 220 s
scores: [reached, reach time, aim]
{more}
"""


@pytest.fixture(autouse=True)
def _own_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    Path("floor.yaml").write_text(ARENA)
    Path("borage.yaml").write_text(DESIGN)


def plan(vary: str, repeats: int = 12, more: str = "") -> str:
    lines = "\n".join(f"  {line}" for line in vary.split("; "))
    Path("plan.yaml").write_text(PLAN.format(vary=lines, repeats=repeats, more=more))
    return "./plan.yaml"


def rows(path: str) -> list[dict[str, str]]:
    with Path(path).open(newline="") as stream:
        return list(csv.DictReader(stream))


def test_a_sweep_tells_every_setting_with_intervals_that_scipy_agrees_with() -> None:
    name = plan("design.storage.capacitance: 1000 uF, 2200 uF, 4700 uF")
    outcome = photodrome("sweep", name)
    assert outcome.code == 0
    assert outcome.err == ""
    assert "3 settings, 12 repeats: 36 trials" in outcome.out
    settings = rows("plan.sweep/settings.csv")
    assert [row["setting"] for row in settings] == ["0", "1", "2"]
    trials = rows("plan.sweep/trials.csv")
    assert len(trials) == 36
    for number, row in enumerate(settings):
        hits = sum(float(one["reached"]) for one in trials if one["setting"] == str(number))
        assert float(row["reached figure"]) == hits / 12
        # Wilson (1927), by scipy
        ends = stats.binomtest(int(hits), 12).proportion_ci(method="wilson")
        assert float(row["reached low"]) == pytest.approx(ends.low, abs=1e-9)
        assert float(row["reached high"]) == pytest.approx(ends.high, abs=1e-9)
        times = [float(one["reach_s [s]"]) for one in trials if one["setting"] == str(number)]
        assert float(row["reach time figure [s]"]) == np.median(times)
        assert all(one["seed"] == "1" for one in trials)
    for word in ("1000 uF", "2200 uF", "4700 uF", "reached the goal", "36 trials"):
        assert word in outcome.out
    pictures = sorted(path.name for path in Path("plan.sweep").glob("*.png"))
    assert pictures == [f"{one}-by-storage-capacitance.png" for one in ("aim", "reach-time", "reached")]
    assert all(path.read_bytes().startswith(b"\x89PNG") for path in Path("plan.sweep").glob("*.png"))


def test_a_second_sweep_runs_nothing_and_writes_the_same() -> None:
    name = plan("design.both.latch: E6 4k7..22k")
    first = photodrome("sweep", name, "--json", "--no-plots").json()
    assert first["trials_kept_from_before"] == 0
    kept = {path.name: path.read_bytes() for path in Path("plan.sweep").glob("*.[cn][sp][vz]")}
    assert len(kept) == 3
    again = photodrome("sweep", name, "--json", "--no-plots").json()
    assert again["trials_kept_from_before"] == first["trials"] == 5 * 12
    assert {name: Path("plan.sweep", name).read_bytes() for name in kept} == kept
    assert again["settings"] == first["settings"]
    afresh = photodrome("sweep", name, "--json", "--no-plots", "--restart").json()
    assert afresh["trials_kept_from_before"] == 0
    assert afresh["settings"] == first["settings"]


def test_another_plan_is_not_mixed_in() -> None:
    photodrome("sweep", plan("design.both.latch: 10k, 22k"), "--no-plots")
    before = Path("plan.sweep/trials.csv").read_bytes()
    outcome = photodrome("sweep", plan("design.both.latch: 10k, 33k"), "--no-plots")
    assert outcome.code == 2
    assert "plan" in outcome.err
    assert Path("plan.sweep/trials.csv").read_bytes() == before
    changed = DESIGN.replace("25 mm", "26 mm")
    Path("borage.yaml").write_text(changed)
    outcome = photodrome("sweep", plan("design.both.latch: 10k, 22k"), "--no-plots")
    assert (outcome.code, "borage" in outcome.err) == (2, True)


def test_two_values_and_drawn_ones_are_drawn_and_weighed() -> None:
    grid = photodrome(
        "sweep", plan("design.both.latch: 10k, 22k; design.both.eye.aside: 15 mm, 30 mm"), "--json"
    ).json()
    assert "reached-map.png" in [Path(one).name for one in grid["files"]]
    assert [one["factor"] for one in grid["effects"]] == ["both.latch", "both.eye.aside"]
    drawn = plan(
        "design.both.latch: 2k..50k by ratio; arena.ambient.illuminance: 3 klx..9 klx",
        repeats=2,
        more="sampling: latin hypercube\nsettings: 20",
    )
    answer = photodrome("sweep", drawn, "--folder", "drawn", "--json").json()
    assert len(answer["settings"]) == 20
    assert {Path(one).name for one in answer["files"]} >= {"reached-by-both-latch.png", "settings.csv"}
    assert all(2e3 <= one["both.latch"] <= 50e3 for one in answer["settings"])


def test_of_many_settings_the_best_are_told() -> None:
    shown = photodrome(
        "sweep", plan("design.storage.capacitance: 100 uF..2.2 mF in 71", repeats=6), "--no-plots"
    )
    assert "the 20 best of 71 settings" in shown.out
    table = shown.out.partition("the 20 best")[0]
    assert "2200 uF" in table
    assert " 100 uF" not in table


def test_settings_are_compared_within_each_condition() -> None:
    """What stands in the arena is given, so a dim light must not make every design in it look worse."""
    vary = "design.storage.capacitance: 470 uF, 1000 uF, 2200 uF; arena.ambient.illuminance: 3 klx, 9 klx"
    name = plan(vary, repeats=20)
    answer = photodrome("sweep", name, "--json", "--no-plots").json()
    assert [one["condition"] for one in answer["conditions"]] == [
        "ambient.illuminance 3 klx",
        "ambient.illuminance 9 klx",
    ]
    settings = answer["settings"]
    for one, light in zip(answer["conditions"], (3e3, 9e3), strict=True):
        mine = [row for row in settings if row["ambient.illuminance"] == light]
        shares = {row["setting"]: row["scores"]["reached"]["value"] for row in mine}
        assert len(shares) == 3
        assert shares[one["best"]] == max(shares.values())
        assert one["best"] in one["alike"]
        assert set(one["alike"]) <= set(shares)
        assert "illuminance" not in one["advice"]
    told = rows("plan.sweep/settings.csv")
    is_open = [number for number, row in enumerate(told) if row["best or open"] == "1"]
    assert is_open == sorted(number for one in answer["conditions"] for number in one["alike"])
    shown = photodrome("sweep", name, "--no-plots").out
    assert shown.count("best figure") == 2
    assert "ambient.illuminance 3 klx: " in shown
    assert ("in each condition by itself" in shown) == (len(is_open) > 2)


def test_conditions_alone_are_compared_with_one_another() -> None:
    answer = photodrome(
        "sweep", plan("arena.ambient.illuminance: 1 klx, 9 klx"), "--json", "--no-plots"
    ).json()
    (only,) = answer["conditions"]
    assert only["condition"] is None
    assert only["best"] in (0, 1)


def test_a_setting_without_room_is_told_and_the_others_run() -> None:
    outcome = photodrome("sweep", plan("design.body.radius: 26 mm, 390 mm"), "--no-plots")
    assert outcome.code == 0
    assert "not tried, body.radius 390 mm" in outcome.out
    settings = rows("plan.sweep/settings.csv")
    assert settings[0]["reached trials"] == "12"
    assert (settings[1]["reached figure"], settings[1]["reached trials"]) == ("", "0")


def test_a_time_that_is_not_within_the_run_is_null_and_said_to_be_so() -> None:
    name = plan("design.storage.capacitance: 100 uF, 2200 uF")
    first, second = photodrome("sweep", name, "--json", "--no-plots").json()["settings"]
    figure = first["scores"]["reach time"]
    assert (figure["value"], figure["not_within_run"], figure["count"]) == (None, True, 12)
    assert second["scores"]["reach time"]["not_within_run"] is False


@pytest.mark.parametrize(
    ("vary", "more", "words"),
    [
        ("design.both.latsch: 10k", "", "plan.yaml:6:3: vary.design.both.latsch"),
        ("design.both.latch: E12 100k..10k", "", "plan.yaml:6:"),
        ("design.both.latch: 1 ohm", "", "plan.yaml:6:"),
        ("design.both.latch: 10k", "scores: [speed]", "scores"),
    ],
)
def test_bad_plans_are_refused_at_their_place(vary: str, more: str, words: str) -> None:
    outcome = photodrome("sweep", plan(vary, more=more))
    assert outcome.code == 2
    assert words in outcome.err
    assert not Path("plan.sweep").exists()


def test_a_plan_of_far_too_many_trials_is_told_before_it_starts() -> None:
    varied = [f"design.{one} in 100" for one in ("both.latch: 1k..100k", "both.series: 10k..100k")]
    varied += ["design.both.feeler: 10k..100k in 100", "design.storage.capacitance: 1 mF..9 mF in 10000"]
    outcome = photodrome("sweep", plan("; ".join(varied), repeats=100))
    assert outcome.code == 2
    assert "1,000,000,000,000 trials" in outcome.err
    assert re.search(r"about [0-9,.]+ (days|years) here", outcome.err)


def test_a_search_keeps_to_its_budget_and_leaves_a_design_that_can_be_built() -> None:
    Path("borage.yaml").write_text(f"{DESIGN}storage:\n  capacitance: 100 uF\n")
    name = plan("design.storage.capacitance: E6 100 uF..4.7 mF; design.both.latch: 10k, 22k")
    answer = photodrome("tune", name, "--budget", "600", "--json").json()
    assert answer["trials"] <= 600
    assert answer["settings"] == 11 * 2
    best = answer["finalists"][0]
    assert best["best"] is True
    design = read_design("plan.tune/winner.yaml")
    assert design.storage.capacitance == best["storage.capacitance"]
    assert design.left.latch == best["both.latch"]
    assert design.name == "borage tuned"
    assert "# a remark that stays" in Path("plan.tune/winner.yaml").read_text()
    assert answer["winner"] == Path("plan.tune/winner.yaml").read_text()
    finalists = rows("plan.tune/finalists.csv")
    assert [row["as it is"] for row in finalists] == ["0"] * len(answer["finalists"]) + ["1"]
    assert float(finalists[0]["reached"]) == best["figure"]["value"]
    # a storage this small does not get there, whatever else
    assert best["storage.capacitance"] >= 680e-6
    shown = photodrome("tune", name, "--budget", "600", "--no-plots")
    assert shown.code == 0
    assert "Better than borage as it is, on " in shown.out
    assert json.dumps(photodrome("tune", name, "--budget", "600", "--json").json()) == json.dumps(answer)


@pytest.mark.parametrize(
    ("vary", "budget", "words"),
    [
        ("design.both.latch: 1k..10k by ratio", "100", "gives? the range steps"),
        ("arena.ambient.illuminance: 3 klx, 5 klx", "100", "varies no design"),
        ("design.both.latch: 10k, 22k", "10", "takes 40 trials"),
    ],
)
def test_what_cannot_be_searched_is_refused(vary: str, budget: str, words: str) -> None:
    more = "sampling: random\nsettings: 5" if "ratio" in vary else ""
    outcome = photodrome("tune", plan(vary, more=more), "--budget", budget)
    assert outcome.code == 2
    assert words.replace("gives?", "give") in outcome.err


def test_conditions_take_turns_in_a_search() -> None:
    vary = "design.storage.capacitance: 1000 uF, 2200 uF; arena.ambient.illuminance: 3 klx, 5 klx, 8 klx"
    answer = photodrome("tune", plan(vary), "--budget", "200", "--json", "--no-plots").json()
    assert (answer["conditions"], answer["settings"]) == (3, 2)


LISTED = """\
starts:
  places:
    - { place: 0.2 0.3 m, heading: 0 deg }
    - { place: 0.2 0.7 m, heading: 0 deg }
goals:"""


def test_a_search_judges_by_all_conditions_alike(monkeypatch: pytest.MonkeyPatch) -> None:
    Path("floor.yaml").write_text(re.sub(r"starts:.*goals:", LISTED, ARENA, flags=re.DOTALL))
    ambient = [3e3, 4e3, 5e3, 6e3]
    vary = "design.storage.capacitance: E6 680 uF..10 mF; arena.ambient.illuminance: 3 klx..6 klx in 4"
    study = parse_study(Path(plan(vary, more="budget: 640")).read_text())
    ran: dict[float, list[tuple[int, float]]] = {}
    compared: list[int] = []

    def run_trials(
        study: Study, settings: Sequence[Setting], repeats: Sequence[int], threads: int
    ) -> Records:
        for setting in settings:
            storage, light = setting.values
            if storage is AS_IT_IS:
                compared.extend(repeats)
                continue
            ran.setdefault(storage, []).extend((repeat, light) for repeat in repeats)
        rows = np.ones((len(settings), len(repeats)), TRIAL)
        # every storage is as good as any other, to the last of them
        rows["reached"] = (np.array(repeats) % 3 > 0) * 1.0
        return rows

    monkeypatch.setattr(tune_module, "run_trials", run_trials)
    found = tune_module.tune(study)
    assert found.race.trials > 400
    assert len(ran) == 8
    # the beginning meets the best on repeats of all conditions, and cannot be beaten by what is alike
    assert len(set(compared)) == len(compared) >= 30
    assert len(compared) % 4 == 0
    assert found.gain is not None
    assert (found.gain.difference, found.gain.is_better, found.winner_text) == (0.0, False, None)
    for trials in ran.values():
        lights = [light for _, light in trials]
        assert len({lights.count(one) for one in ambient}) == 1
    fresh = [count for place in found.race.values for count in [len(place)]]
    assert fresh[0] >= 30
    assert fresh[0] % 4 == 0
    # the same repeat has the same light in every setting, and meets either start place in any light
    light_of = dict(trial for trials in ran.values() for trial in trials)
    assert all(light_of[repeat] == light for trials in ran.values() for repeat, light in trials)
    for one in ambient:
        assert {repeat % 2 for repeat, light in light_of.items() if light == one} == {0, 1}


@pytest.mark.parametrize("name", ["reached", "pulses"])
def test_finalists_stand_from_best_to_worst(monkeypatch: pytest.MonkeyPatch, name: str) -> None:
    text = Path(plan("design.storage.capacitance: E6 1 mF..4.7 mF")).read_text()
    study = parse_study(text.replace("scores: [reached", f"scores: [{name}"))

    def run_trials(_: Study, settings: Sequence[Setting], repeats: Sequence[int], threads: int) -> Records:
        rows = np.ones((len(settings), len(repeats)), TRIAL)
        share = np.array(
            [0.8 - 20.0 * (2.2e-3 if one.values[0] is AS_IT_IS else one.values[0]) for one in settings]
        )
        rows[name] = (np.array(repeats) * 0.618 % 1.0 < share[:, None]) * 1.0
        return rows

    monkeypatch.setattr(tune_module, "run_trials", run_trials)
    found = tune_module.tune(study, 600).as_dict()["finalists"]
    assert len(found) == 4
    figures = [one["figure"]["value"] for one in found]
    assert figures[0] > figures[-1]
    assert figures == sorted(figures, reverse=True)
    assert [one["best"] for one in found] == [True, False, False, False]


def test_a_search_in_more_conditions_than_the_budget_reaches_is_refused() -> None:
    vary = "design.both.latch: 10k, 22k; arena.ambient.illuminance: 3 klx..8 klx in 30"
    outcome = photodrome("tune", plan(vary), "--budget", "200")
    assert outcome.code == 2
    assert "30 conditions takes 240 trials" in outcome.err


def test_a_design_whose_sides_differ_is_told_as_it_is_too() -> None:
    Path("borage.yaml").write_text(DESIGN + "left:\n  latch: 15k\n")
    name = plan("design.both.latch: 10k, 22k")
    answer = photodrome("tune", name, "--budget", "100", "--json", "--no-plots").json()
    assert answer["began_from"] == "borage"
    assert answer["as_it_is"]["count"] == answer["gain"]["repeats"] > 0
    *_, own = rows("plan.tune/finalists.csv")
    assert (own["both.latch [ohm]"], own["as it is"]) == ("", "1")


def test_a_search_of_settings_that_cannot_be_run_says_why() -> None:
    name = plan("design.both.latch: 10k, 22k")
    Path("floor.yaml").write_text(TINY, encoding="utf-8")
    outcome = photodrome("tune", name, "--budget", "40", "--no-plots")
    assert outcome.code == 0
    assert "none of the 2 settings that were tried says anything about" in outcome.out
    assert "the first of them cannot be run at all: the start zone of 'box' has room for 0" in outcome.out
    answer = photodrome("tune", name, "--budget", "40", "--no-plots", "--json").json()
    assert answer["winner"] is None
    assert "has room for 0 walkers" in answer["obstacle"]
    assert not Path("plan.tune/winner.yaml").exists()


def test_a_search_that_finds_nothing_better_gives_no_winner_and_says_so() -> None:
    """The design's own latch, and one that hardly differs: neither is better than what it began from."""
    name = plan("design.both.latch: 10k, 12k")
    outcome = photodrome("tune", name, "--budget", "200", "--no-plots")
    assert outcome.code == 0
    assert (
        "No winner: the best that was found is not significantly better than borage as it is" in outcome.out
    )
    assert "So keep borage; no design was written." in outcome.out
    assert "winner " not in outcome.out
    assert not Path("plan.tune/winner.yaml").exists()
    answer = photodrome("tune", name, "--budget", "200", "--no-plots", "--json").json()
    assert answer["winner"] is None
    assert answer["gain"]["is_better"] is False
    assert answer["gain"]["low"] <= answer["gain"]["difference"] <= answer["gain"]["high"]
    tight = photodrome("tune", name, "--budget", "40", "--no-plots")
    assert "No winner: the budget did not reach for comparing" in tight.out


def test_a_study_can_be_read_from_text_beside_its_files() -> None:
    plan("design.both.latch: 10k, 22k")
    study = parse_study(Path("plan.yaml").read_text())
    assert (study.settings, study.trials) == (2, 24)
