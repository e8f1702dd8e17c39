"""Accounts of races: every advice is taken as it is printed, through a file, and does what it says."""

import atexit
import re
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from shutil import rmtree
from tempfile import mkdtemp
from typing import Any

import numpy as np
import pytest

from agents.design.changing import change_design, design_text
from agents.design.spec import Design, read_design
from agents.text.shipped import configs_folder
from agents.text.units import format_quantity
from arena.accounts.changes_to_try import RaceChange, changes_to_try, neighbours, values_as_text
from arena.accounts.line_up import line_up
from arena.accounts.outcomes import (
    LEAST_GAIN,
    Deed,
    Outcome,
    first_of,
    ordinal,
    outcomes_of,
    usual_judge,
)
from arena.accounts.telling import Account, accounts_of, whole_percents
from arena.scene.contest import Contest, read_contest
from arena.simulation import simulate
from replays.causes.bench_faults import entries_on_bench

# Losers with a fault each: of which design, with which values; where, for how long [s], whether each alone.
LOSERS: Mapping[str, tuple[str, dict[str, str], str, float, bool]] = {
    "spins": ("poppy", {"storage.capacitance": "10 mF"}, "open-bench", 2400.0, False),
    "twitches": ("nettle-twitches", {}, "open-bench", 2400.0, False),
    "silent in shade": ("poppy", {"both.eye.quiet_current": "12.5 uA"}, "dusk", 5400.0, True),
    "hangs on walls": ("poppy", {"both.feeler": "1M"}, "pot-rows", 3000.0, True),
    "charges slowly": ("poppy", {"panel.current_per_light": "12 nA/lx"}, "open-bench", 2400.0, False),
}
CAUSES = {
    "spins": "turning past",
    "twitches": "hardly moves",
    "silent in shade": "silent",
    "hangs on walls": "on walls",
    "charges slowly": "behind",
}


RIVALS = {"silent in shade": "cress", "hangs on walls": "lentil"}
# with which it loses: now and then even a walker that cannot tell a wall gets through the pots
SEEDS = {"hangs on walls": 7}


@cache
def dusk() -> str:
    """The leaf's shade as the day ends: next to no light from all sides, and less through the leaf."""
    text = (configs_folder() / "arenas" / "leaf-shade.yaml").read_text(encoding="utf-8")
    dim = text.replace("illuminance: 1.5 klx", "illuminance: 150 lx").replace("passes: 15 %", "passes: 2 %")
    folder = Path(mkdtemp())
    atexit.register(rmtree, folder)
    (folder / "dusk.yaml").write_text(dim, encoding="utf-8")
    return str(folder / "dusk.yaml")


def contest_of(name: str, design: "Design | Path | None" = None) -> Contest:
    base, values, place, seconds, alone = LOSERS[name]
    loser = change_design(read_design(base), {"name": "loser", **values})
    entries = [design or loser, RIVALS.get(name, "poppy")]
    where = dusk() if place == "dusk" else place
    return read_contest(where, entries, walkers=1, seconds=seconds, seed=SEEDS.get(name, 4), alone=alone)


@pytest.fixture(scope="module")
def told() -> dict[str, list[Account]]:
    found = {}
    for name in LOSERS:
        contest = contest_of(name)
        found[name] = accounts_of(line_up(contest), simulate(contest), tries=24, threads=2)
    return found


@pytest.mark.parametrize("name", LOSERS)
def test_the_change_does_in_the_same_race_what_is_told_of_it(
    told: dict[str, list[Account]], name: str, tmp_path: Path
) -> None:
    loser = told[name][0]
    assert (loser.change, loser.gain) != (None, None), loser.sentences
    assert loser.change is not None
    assert loser.gain is not None
    # into a file, and out of it
    written = tmp_path / "loser.yaml"
    before = contest_of(name).entrants[0].design
    written.write_text(design_text(change_design(before, loser.change.values)), encoding="utf-8")
    contest = contest_of(name, written)
    replay = simulate(contest)
    line = line_up(contest)
    deeds = usual_judge(line.goals, line.seconds)(replay)
    again = outcomes_of(deeds, line.groups)[0]
    assert again == loser.gain
    assert again.deed.merit >= loser.outcome.deed.merit + LEAST_GAIN
    assert f"{again.deed.told_now}, {again.words}" in loser.sentences[2]
    # the words name each value that the file says
    assert loser.change.text in loser.sentences[2]
    for path, value in loser.change.values.items():
        if path.startswith("panel.") and path != "panel.current_per_light":
            # what follows of the same cells and so many times the area
            assert "a panel of the same cells and" in loser.change.text
            continue
        number = re.match(r"[0-9.]+[kM]?[0-9]*", value)
        assert number is not None
        assert number[0] in loser.change.text, (value, loser.change.text)


@pytest.mark.parametrize("name", LOSERS)
def test_the_cause_is_the_one_that_was_built_in(told: dict[str, list[Account]], name: str) -> None:
    loser, winner = told[name]
    assert loser.cause == CAUSES[name], loser.sentences
    assert winner.cause == "ahead"
    assert (winner.outcome.words, loser.outcome.words) == ("1st of 2", "2nd of 2")


def test_every_account_holds_together(told: dict[str, list[Account]]) -> None:
    for account in (one for both in told.values() for one in both):
        assert len(account.sentences) <= 3
        assert all(sentence.endswith(".") for sentence in account.sentences)
        assert sum(account.shares.values()) == pytest.approx(1.0)
        percents = [
            int(one) for one in re.findall(r"(\d+) % (?:of the time|\w)", account.sentences[0].split(";")[-1])
        ]
        assert sum(percents) == 100, account.sentences[0]
        assert (account.change is None) == (account.gain is None)
        assert account.as_dict()["sentences"] == list(account.sentences)


def test_the_faults_are_those_of_the_bench_in_the_light_it_had(told: dict[str, list[Account]]) -> None:
    assert "spin" in told["spins"][0].faults
    assert "twitch" in told["twitches"][0].faults
    assert "dim" in told["silent in shade"][0].faults
    assert told["spins"][1].faults == ()


def test_accounts_are_the_same_for_any_number_of_threads_and_can_be_stopped() -> None:
    contest = contest_of("charges slowly")
    replay, line = simulate(contest), line_up(contest)
    one = accounts_of(line, replay, [0], tries=6, threads=1)
    assert one == accounts_of(line, replay, [0], tries=6, threads=2)
    shares: list[float] = []
    accounts_of(line, replay, tries=0, progress=shares.append)
    assert shares == [0.0, 0.5]
    without = accounts_of(line, replay, [0], tries=0)[0]
    assert (without.tried, without.change, len(without.sentences)) == (0, None, 2)
    assert without.sentences == one[0].sentences[:2]

    def stop(share: float) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        accounts_of(line, replay, tries=6, progress=stop)


def test_a_body_of_other_size_is_not_the_same_race() -> None:
    line = line_up(contest_of("spins"))
    wider = change_design(line.designs[0], {"body.radius": "30 mm"})
    assert line.rebuilt(0, wider) is None
    same = line.rebuilt(0, line.designs[0])
    assert same is not None
    assert same.tobytes() == line.walkers.tobytes()


def test_running_apart_is_running_alone() -> None:
    contest = contest_of("hangs on walls")
    line = line_up(contest)
    replay = simulate(contest)
    tables, lost = line.run_apart(1, [line.walkers[1:2], line.walkers[0:1], line.walkers[1:2]], 2)
    assert lost == ()
    judge = usual_judge(line.goals, line.seconds)
    whole, apart = judge(replay), judge(tables)
    assert apart[0] == apart[2] == whole[1]
    assert line.run(line.walkers, 1).pulses.tobytes() == replay.pulses.tobytes()


def test_a_shared_race_runs_anew_as_it_was() -> None:
    contest = contest_of("spins")
    line = line_up(contest)
    assert line.run(line.walkers, 1).poses.tobytes() == simulate(contest).poses.tobytes()


def test_a_race_in_the_cold_runs_anew_in_the_cold(tmp_path: Path) -> None:
    text = (configs_folder() / "arenas" / "open-bench.yaml").read_text(encoding="utf-8")
    (tmp_path / "cold.yaml").write_text(f"{text}\nair: -5 degC\n", encoding="utf-8")
    contest = read_contest(tmp_path / "cold.yaml", ["poppy"], walkers=2, seconds=300)
    line = line_up(contest)
    poses = simulate(contest).poses
    assert line.run(line.walkers, 1).poses.tobytes() == poses.tobytes()
    same = line.rebuilt(0, line.designs[0])
    assert same is not None
    assert same.tobytes() == line.walkers.tobytes()
    warm = read_contest("open-bench", ["poppy"], walkers=2, seconds=300)
    assert simulate(warm).poses.tobytes() != poses.tobytes()


def test_neighbouring_values_are_sold_and_change_one_kind_of_part() -> None:
    poppy = read_design("poppy")
    found = list(neighbours(poppy))
    storages = [one.values["storage.capacitance"] for one in found if "storage.capacitance" in one.values]
    # the nearest steps of E6 (IEC 60063) on either side of 2200 uF
    assert sorted(storages) == pytest.approx([680e-6, 1e-3, 1.5e-3, 3.3e-3, 4.7e-3, 6.8e-3])
    assert all(len(one.values) == 1 for one in found)
    assert len({str(one.values) for one in found}) == len(found)
    for one in found:
        changed = one.applied(poppy)
        texts = values_as_text(poppy, one.values)
        assert len(texts) == 1
        assert change_design(poppy, texts) == changed != poppy


def test_a_whole_part_is_told_by_those_of_its_values_that_differ() -> None:
    poppy = read_design("poppy")
    motor = poppy.left.motor.model_copy(update={"resistance": 56.0})
    assert values_as_text(poppy, {"both.motor": motor}) == {"both.motor.resistance": "56R"}


def test_the_bench_comes_first_and_the_number_is_bounded() -> None:
    assert len(changes_to_try(read_design("poppy"), [], 5)) == 5
    assert changes_to_try(read_design("poppy"), [], 0) == []


def test_sentences_begin_with_what_to_use_or_with_what_to_do() -> None:
    assert RaceChange({}, "a latch resistor of 1k").condition == "With a latch resistor of 1k"
    assert RaceChange({}, "bend the eyes out").condition == "If you bend the eyes out,"


def deed(merit: float) -> Deed:
    return Deed(merit, "arrived", "somewhere", None)


def test_places_by_merit_within_groups_and_ties_share_the_better_place() -> None:
    deeds = [deed(merit) for merit in (1.0, 3.0, 1.0, 0.5, 9.0)]
    groups = np.array([0, 0, 0, 0, 1])
    found = outcomes_of(deeds, groups)
    assert [(one.place, one.among) for one in found] == [(2, 4), (1, 4), (2, 4), (4, 4), (1, 1)]
    assert first_of(deeds, groups).tolist() == [1, 1, 1, 1, 4]


def test_nobody_is_ahead_by_the_last_digits_of_standing_still(tmp_path: Path) -> None:
    text = (configs_folder() / "arenas" / "open-bench.yaml").read_text(encoding="utf-8")
    dark = text.replace("illuminance: 1 klx", "illuminance: 0 lx").replace("5000 cd", "0.01 cd")
    (tmp_path / "dark.yaml").write_text(dark, encoding="utf-8")
    contest = read_contest(tmp_path / "dark.yaml", ["poppy", "cress"], walkers=1, seconds=60)
    told = accounts_of(line_up(contest), simulate(contest), tries=2)
    assert [one.outcome.words for one in told] == ["1st of 2", "1st of 2"]
    assert [(one.cause, one.decisive_pulse, one.decisive_time) for one in told] == [
        ("never fired", None, None)
    ] * 2
    assert all(one.sentences[2].startswith("None of 2 changes") for one in told)


def test_places_in_words() -> None:
    numbers = (1, 2, 3, 4, 11, 12, 13, 21, 102, 111)
    assert [ordinal(number) for number in numbers] == [
        "1st", "2nd", "3rd", "4th", "11th", "12th", "13th", "21st", "102nd", "111th"
    ]  # fmt: skip
    assert Outcome(3, 12, deed(0.0)).words == "3rd of 12"


def test_percents_add_up_to_a_hundred() -> None:
    shares: dict[str, Any] = {"a": 1 / 3, "b": 1 / 3, "c": 1 / 3}
    assert sorted(whole_percents(shares).values()) == [33, 33, 34]
    assert whole_percents({"a": 0.996, "b": 0.004}) == {"a": 100, "b": 0}


def test_where_there_is_no_goal_the_light_counts(tmp_path: Path) -> None:
    text = (configs_folder() / "arenas" / "open-bench.yaml").read_text(encoding="utf-8")
    Path(tmp_path / "bare.yaml").write_text(
        text[: text.index("goals:")] + "lasts: 15 min\n", encoding="utf-8"
    )
    contest = read_contest(tmp_path / "bare.yaml", ["poppy", "thistle-spins"], walkers=1)
    first, second = accounts_of(line_up(contest), simulate(contest), tries=4)
    assert {first.outcome.place, second.outcome.place} == {1, 2}
    assert "on its panel on average" in first.sentences[0]


def test_a_panel_that_cures_is_told_in_the_figures_of_the_design() -> None:
    """An incandescent lamp gives silicon three times the current a lux; advice is for the panel in sun."""
    weak = change_design(read_design("poppy"), {"name": "weak", "panel.current_per_light": "1 nA/lx"})
    contest = read_contest("open-bench", [weak], walkers=1, seconds=600)
    race = simulate(contest)
    seen = entries_on_bench(race)
    assert "dim" in (seen[0].faults or ())
    assert seen[0].weight != 1.0
    panels = [one for one in changes_to_try(weak, seen, 5) if "panel.current_per_light" in one.values]
    assert panels
    for one in panels:
        current = one.values["panel.current_per_light"]
        assert f"{format_quantity(current, 'A/lx')} in place of 1 nA/lx" in one.text
        cured = simulate(read_contest("open-bench", [one.applied(weak)], walkers=1, seconds=600))
        assert len(cured.pulses) > 0 == len(race.pulses)
