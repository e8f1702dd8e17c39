"""The commands sweep, tune and kit in clumsy hands: nothing is wrongly told, lost, or written over."""

import os
import shutil
import sqlite3
import tracemalloc
from pathlib import Path

import numpy as np
import pytest

import arena.cli.printed_tables as tables
from agents.errors import InputError, OptionError, OutputError, WorkError
from agents.text.shipped import find_document
from arena.studies.kits.eye_picking import read_eyes
from arena.studies.plans.study import parse_study
from arena.studies.running.cluster import Cluster
from arena.studies.running.database import FILE
from arena.studies.running.journal import Journal
from arena.studies.running.sweeping import run_sweep
from arena.studies.search.tuning import tune
from arena.studies.statistics import comparison as comparing
from arena.studies.statistics.comparison import compare
from arena.studies.statistics.factors import Table, table_of
from arena.studies.statistics.sensitivities import sensitivity
from arena.studies.telling.summary import publish_summary, summarise
from arena.studies.trial_scores import SCORES, TRIAL
from tests.helpers.commands import photodrome
from tests.helpers.plans import with_vary

SHORT = "repeats: 3\nlasts: 20 s\n"


@pytest.fixture(autouse=True)
def _own_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def plan(*vary: str, more: str = SHORT) -> str:
    Path("plan.yaml").write_text(with_vary(*vary, more=more), encoding="utf-8")
    return "./plan.yaml"


def held(folder: Path) -> Journal:
    return Journal(folder, {"plan": "a"}, 600, 256)


def test_a_journal_that_is_removed_or_replaced_ends_the_run(tmp_path: Path) -> None:
    """What is written to a file without a name is lost, and the folder may be another run's by now."""
    first, second = tmp_path / "first", tmp_path / "second"
    for folder in (first, second):
        folder.mkdir()
    with held(first) as journal:
        journal.keep(0, np.zeros(256, TRIAL), {})
        (first / FILE).unlink()
        with pytest.raises(OutputError, match="was removed while the work ran"):
            journal.keep(1, np.zeros(256, TRIAL), {})
        with held(second):
            pass
        (second / FILE).rename(first / FILE)
        with pytest.raises(OutputError, match="was removed while the work ran"):
            list(journal.chunks())


def test_a_sweep_whose_folder_is_removed_does_not_say_that_its_trials_are_kept(tmp_path: Path) -> None:
    folder = tmp_path / "out"
    study = parse_study(with_vary("design.both.latch: 10k, 22k", more=SHORT))
    with pytest.raises(OutputError) as caught:
        run_sweep(study, folder, progress=lambda _share: shutil.rmtree(folder))
    assert "was removed" in str(caught.value)
    assert "kept" not in str(caught.value)


def test_what_is_no_file_is_no_journal(tmp_path: Path) -> None:
    (tmp_path / FILE).mkdir()
    with pytest.raises(OutputError, match="something that is no file stands there"):
        held(tmp_path)
    (tmp_path / FILE).rmdir()
    os.mkfifo(tmp_path / FILE)
    with pytest.raises(OutputError, match="something that is no file stands there"):
        held(tmp_path)


@pytest.mark.parametrize(
    ("statement", "words"),
    [
        ("UPDATE chunks SET number = 99", "damaged"),
        ("UPDATE chunks SET number = -1", "damaged"),
        ("UPDATE chunks SET rows = 5", "are damaged"),
        ("UPDATE identity SET value = CAST(X'ff61' AS TEXT) WHERE key = 'plan'", "differs in plan"),
    ],
)
def test_a_journal_with_wrong_entries_is_refused(statement: str, words: str, tmp_path: Path) -> None:
    with held(tmp_path) as journal:
        journal.keep(0, np.zeros(256, TRIAL), {})
    database = sqlite3.connect(tmp_path / FILE)
    database.execute(statement)
    database.commit()
    database.close()
    with pytest.raises(InputError, match=f"{words}.*--folder"), held(tmp_path) as journal:
        list(journal.chunks())


def test_a_table_of_settings_from_before_does_not_outlive_its_trials(tmp_path: Path) -> None:
    study = parse_study(with_vary("design.both.latch: 10k, 22k", more=SHORT))
    publish_summary(summarise(run_sweep(study, tmp_path)), pictures=False)
    assert (tmp_path / "settings.csv").exists()

    def stop(_share: float) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        run_sweep(study, tmp_path, restart=True, progress=stop)
    assert not (tmp_path / "settings.csv").exists()


def test_half_written_pictures_of_a_killed_run_are_removed(tmp_path: Path) -> None:
    half, own = tmp_path / ".reached-map.png.0123abcd.part", tmp_path / ".mine.part"
    for path in (half, own):
        path.write_text("half")
    run_sweep(parse_study(with_vary("design.both.latch: 10k", more=SHORT)), tmp_path)
    assert not half.exists()
    assert own.exists()


def test_what_listens_but_is_no_scheduler_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """Dask's own limit of time holds for the connection, not for what should come over it."""
    import socket

    from arena.studies.running import cluster_address

    monkeypatch.setattr(cluster_address, "ANSWER_TIME", 0.5)
    with socket.socket() as mute:
        mute.bind(("127.0.0.1", 0))
        mute.listen()
        address = f"tcp://127.0.0.1:{mute.getsockname()[1]}"
        with pytest.raises(WorkError, match="nobody answers there within 0 s; is it a Dask scheduler"):
            Cluster(parse_study(with_vary("design.both.latch: 10k", more=SHORT)), address)


def test_very_many_repeats_are_resampled_in_groups(monkeypatch: pytest.MonkeyPatch) -> None:
    """A table of counts for every repeat would take gigabytes; groups come to the same.

    Two settings with the same figure, each the mean of n normal deviates: the better one of a resample
    exceeds it by the expected larger one of two deviates of standard deviation 1 / sqrt(n), 1 / sqrt(pi n).
    """
    sizes: list[int] = []
    counts = comparing.resample_counts

    def noted(trials: int, resamples: int, seed: int) -> np.ndarray:
        sizes.append(trials)
        return counts(trials, resamples, seed)

    monkeypatch.setattr(comparing, "resample_counts", noted)
    repeats = 20_000
    values = np.random.default_rng(1).normal(size=(2, repeats))
    values -= values.mean(axis=1, keepdims=True)
    found = compare(SCORES["directness"], values)
    assert max(sizes) == 2000
    assert found.optimism == pytest.approx(1.0 / np.sqrt(np.pi * repeats), rel=0.1)


def test_very_many_repeats_and_settings_say_the_same_of_factors() -> None:
    random = np.random.default_rng(2)
    levels = np.repeat(np.arange(4.0), 3)
    true = levels[:, None] + random.normal(size=(12, 12_345))
    table = named_table([[value, other] for value in "abcd" for other in "xyz"])
    effects = sensitivity(SCORES["directness"], true, None, table)
    # all of the variance between settings is of the first factor: 1.25 of 1.25
    assert effects.effects[0].first == pytest.approx(1.0, abs=0.01)
    assert effects.effects[1].total == pytest.approx(0.0, abs=0.01)


def named_table(rows: list[list[str]]) -> Table:
    text = "photodrome: study 1\nname: x\narenas: slalom\ndesigns: poppy\n" + (
        "vary:\n  arena.lamps.grow lamp.light: daylight, incandescent\n  arena.ambient.light: daylight\n"
    )
    return table_of(parse_study(text).factors, rows)


def test_a_search_of_a_grid_beyond_all_numbers_runs() -> None:
    vary = [f"design.both.{one}: 1k..100k in 10000" for one in ("latch", "series", "feeler")]
    vary += [f"design.both.eye.{one}: 10 mm..20 mm in 10000" for one in ("aside", "ahead")]
    study = parse_study(with_vary(*vary, more="lasts: 5 s\n"), most_trials=None)
    assert study.trials > 2**63
    found = tune(study, budget=60, threads=1)
    assert found.settings == 10**20
    assert found.race.winner is not None


def test_more_conditions_than_trials_are_refused() -> None:
    """A search that met only some of them would judge designs by the dimmest lamps."""
    vary = ["design.both.latch: 10k, 22k", "arena.lamps.grow lamp.intensity: 1000 cd..9000 cd in 1000"]
    study = parse_study(with_vary(*vary, more="lasts: 5 s\n"))
    with pytest.raises(InputError, match="1,000 conditions takes 8,000 trials at the least, not 200"):
        tune(study, budget=200, threads=1)


def test_more_conditions_than_any_bench_has_are_refused() -> None:
    vary = ["design.both.latch: 10k, 22k", "arena.lamps.grow lamp.intensity: 1000 cd..9000 cd in 10000"]
    vary.append("arena.walls.first plank.height: 20 mm..60 mm in 10000")
    study = parse_study(with_vary(*vary, more=SHORT), most_trials=None)
    with pytest.raises(OptionError, match="make 100,000,000 conditions; a search takes at most 10,000"):
        tune(study, budget=100)


def test_a_winner_is_not_written_over_what_the_plan_reads() -> None:
    Path("plan.tune").mkdir()
    text = find_document("poppy", "design").read_text(encoding="utf-8")
    Path("plan.tune/winner.yaml").write_text(text, encoding="utf-8")
    name = plan("design.both.latch: 10k, 22k")
    Path(name).write_text(Path(name).read_text().replace("poppy", "./plan.tune/winner.yaml"))
    outcome = photodrome("tune", name, "--budget", "60")
    assert (outcome.code, "is an input of this very search" in outcome.err) == (2, True)
    assert Path("plan.tune/winner.yaml").read_text(encoding="utf-8") == text


def test_a_search_that_cannot_be_written_is_refused_before_it_begins(monkeypatch: pytest.MonkeyPatch) -> None:
    from arena.studies.search import tuning as module

    monkeypatch.setattr(module, "run_trials", lambda *_: pytest.fail("trials were run"))
    Path("file").write_text("")
    outcome = photodrome("tune", plan("design.both.latch: 10k, 22k"), "--folder", "file/below")
    assert (outcome.code, "no folder can be made there" in outcome.err) == (1, True)


def test_a_search_without_a_winner_says_why_and_leaves_none_from_before() -> None:
    small = plan("design.storage.capacitance: 10 uF, 22 uF", more=f"{SHORT}scores: [pulses]\n")
    photodrome("tune", small, "--budget", "60", "--no-plots")
    assert Path("plan.tune/winner.yaml").exists()
    crowd = plan("design.both.latch: 10k, 22k", more="walkers: 2000\nlasts: 20 s\n")
    outcome = photodrome("tune", crowd, "--budget", "60", "--no-plots", "--restart")
    assert outcome.code == 0
    assert "cannot be run at all: 2000 walkers are to start" in outcome.out
    assert not Path("plan.tune/winner.yaml").exists()


def test_settings_that_a_search_let_go_are_told() -> None:
    outcome = photodrome("tune", plan("design.both.latch: 10k, 22k"), "--budget", "41", "--no-plots")
    assert outcome.code == 0
    assert "1 more was dropped without being significantly worse" in outcome.out


def test_pictures_of_things_whose_names_have_no_plain_letters_do_not_overwrite_each_other() -> None:
    room = find_document("slalom", "arena").read_text(encoding="utf-8")
    room = room.replace("name: slalom", "name: room")
    room = room.replace("first plank", "первая").replace("second plank", "вторая")
    Path("room.yaml").write_text(room, encoding="utf-8")
    name = plan("arena.walls.первая.height: 20 mm, 40 mm", "arena.walls.вторая.height: 20 mm, 40 mm")
    Path(name).write_text(Path(name).read_text(encoding="utf-8").replace("slalom", "./room.yaml"), "utf-8")
    outcome = photodrome("sweep", name, "--json")
    assert outcome.code == 0
    files = outcome.json()["files"]
    assert len(files) == len(set(files))
    assert {Path(one).name for one in files} >= {
        "reached-by-walls-height.png",
        "reached-by-walls-height-2.png",
    }


def test_a_table_in_parts_says_in_each_of_which_setting_a_row_is(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(tables, "WIDTH", 50)
    name = plan(
        "design.both.latch: 10k, 22k",
        "design.both.series: 33k, 47k",
        more=f"{SHORT}scores: [reached, light gain]\n",
    )
    outcome = photodrome("sweep", name, "--no-plots")
    assert outcome.code == 0
    parts = outcome.out.count("both.latch, both.series")
    assert parts >= 2
    assert outcome.out.count("10k, 47k") >= parts


def test_what_no_trial_tells_is_called_open_and_not_alike() -> None:
    outcome = photodrome("sweep", plan("design.both.latch: 10k, 22k"), "--no-plots")
    assert "not told from the best: as good or worse, no significant difference in" in outcome.out
    lone = photodrome("sweep", plan("design.both.latch: 10k"), "--folder", "lone", "--no-plots")
    assert "not told from the best" not in lone.out


def test_effects_are_not_told_of_a_single_setting() -> None:
    outcome = photodrome("sweep", plan("design.both.latch: 10k", "design.both.series: 47k"), "--no-plots")
    assert outcome.code == 0
    assert "no factor" not in outcome.out


def test_a_pipe_that_nobody_writes_to_is_no_table_of_eyes(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "eyes.csv")
    with pytest.raises(InputError, match="no ordinary file but a pipe"):
        read_eyes(tmp_path / "eyes.csv")


@pytest.mark.parametrize(("count", "least"), [(1, 40), (6, 48)])
def test_a_budget_that_just_does_is_not_spent_on_the_design_as_it_is(count: int, least: int) -> None:
    lamps = ", ".join(f"{1000 * number} cd" for number in range(1, count + 1))
    vary = ["design.both.latch: 10k, 22k", f"arena.lamps.grow lamp.intensity: {lamps}"]
    study = parse_study(with_vary(*vary, more="lasts: 5 s\n"))
    assert tune(study, budget=least + 1, threads=1).race.trials <= least + 1
    with pytest.raises(InputError, match=f"takes {least} trials at the least, not {least - 1}"):
        tune(study, budget=least - 1, threads=1)


def test_effects_of_very_many_settings_fill_no_memory() -> None:
    """Products of forty thousand settings with four hundred resamples would take 128 MB a table."""
    first, second = np.divmod(np.arange(40_000), 200)
    table = named_table([[f"{one}", f"{two}"] for one, two in zip(first, second, strict=True)])
    values = (first + np.random.default_rng(3).normal(size=(2, 40_000))).T
    tracemalloc.start()
    try:
        effects = sensitivity(SCORES["directness"], values, None, table)
        _, most = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert effects.effects[0].first == pytest.approx(1.0, abs=0.01)
    assert most < 100e6
