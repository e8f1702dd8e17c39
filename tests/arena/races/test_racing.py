"""Races through the engine: the same bytes whatever happens, and everybody alike where all are alike."""

from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.stats import chisquare

from agents.errors import InputError, ModelError
from agents.text.table_cells import harmless
from arena.races import heat_running
from arena.races.entries import read_entries
from arena.races.heat_running import run_heat
from arena.races.race_folder import INDEX, read_results
from arena.races.race_form import FORMATS
from arena.races.race_plan import parse_race
from arena.races.race_setup import RaceSetup, prepare_race
from arena.races.racing import race_all
from arena.races.results import LOST, NEVER_MOVED
from arena.simulation import run_plans
from replays.format.replay_file import read_replay
from tests.helpers.classes import write_class
from tests.helpers.commands import AMBIENT, DESIGN, FLOOR, listing

# A small bright floor, on which pulses come fast and somebody is there soon.
BRIGHT = (
    FLOOR
    + AMBIENT
    + """\
lamps:
  - {name: lamp, place: 0.8 0.5 m, height: 400 mm, light: incandescent, intensity: 4000 cd, beam: 60 deg}
starts:
  places:
    - {place: 0.15 0.20 m, heading: 0 deg}
    - {place: 0.15 0.40 m, heading: 0 deg}
    - {place: 0.15 0.60 m, heading: 0 deg}
    - {place: 0.15 0.80 m, heading: 0 deg}
goals:
  - {name: by the lamp, centre: 0.8 0.5 m, radius: 300 mm}
lasts: 4 min
"""
)


def race_of(folder: Path, count: int = 5, more: str = "", form: str = "time trial") -> RaceSetup:
    """A race between ``count`` walkers on the bright floor."""
    if not (folder / "walkers").exists():
        write_class(folder / "walkers", count)
        (folder / "bright.yaml").write_text(BRIGHT)
    text = (
        f"photodrome: race 1\nname: a race\nformat: {form}\ncourses: [{{arena: ./bright.yaml}}]\n{more}"
        if "courses:" not in more
        else f"photodrome: race 1\nname: a race\nformat: {form}\n{more}"
    )
    plan = parse_race(text, "plan", folder)
    return prepare_race(plan, read_entries([str(folder / "walkers")]))


@pytest.mark.parametrize("form", FORMATS)
def test_every_format_is_run_to_a_ranking(form: str, tmp_path: Path) -> None:
    setup = race_of(tmp_path, form=form, more="rounds: 4\nfinalists: 3\nfinal_rounds: 3\n")
    results = race_all(setup, tmp_path / "out", 2)
    assert len(results.rounds) == (7 if form == "heats and final" else 4)
    assert sorted(one.entry for one in results.placings) == list(range(5))
    for one in results.rounds:
        raced = Counter(finish.entry for heat in one.heats for finish in heat.finishes)
        expected = {"pairs": dict.fromkeys(range(5), 4)}.get(form, dict.fromkeys(range(5), 1))
        if one.phase == "final":
            assert sorted(raced.values()) == [1, 1, 1]
        else:
            assert raced == expected
    for heat in (heat for one in results.rounds for heat in one.heats):
        assert [finish.place for finish in heat.finishes] == sorted(finish.place for finish in heat.finishes)
    # what is read from the folder is what was run
    assert read_results(tmp_path / "out").as_dict() == results.as_dict()
    replay = read_replay(results.replays[-1].path)
    assert {one["name"] for one in replay.header["designs"]} <= {one.name for one in results.entries}
    for design in replay.header["designs"]:
        assert results.entries[design["mark"]].name == design["name"]


def test_a_stopped_race_goes_on_to_the_same_bytes(tmp_path: Path) -> None:
    setup = race_of(tmp_path, more="rounds: 4\n", form="together")
    whole = race_all(setup, tmp_path / "whole", 1)

    def stop(share: float, doing: str) -> None:
        if doing == "round 3 of 4":
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        race_all(setup, tmp_path / "parts", 2, told=stop)
    assert len(read_results(tmp_path / "parts").rounds) == 2
    assert not list((tmp_path / "parts").glob("standings*"))
    told: list[str] = []
    again = race_all(setup, tmp_path / "parts", 2, told=lambda _share, doing: told.append(doing))
    assert told[0] == "round 3 of 4"
    ours = {Path(name).name: content for name, content in listing(tmp_path / "parts").items()}
    theirs = {Path(name).name: content for name, content in listing(tmp_path / "whole").items()}
    assert ours == theirs
    assert again.placings == whole.placings
    # more rounds go on from there, and are those of a longer race
    longer = race_of(tmp_path, more="rounds: 6\n", form="together")
    assert race_all(longer, tmp_path / "parts", 2).rounds == race_all(longer, tmp_path / "long", 1).rounds
    names = [sorted(path.name for path in (tmp_path / one).iterdir()) for one in ("parts", "long")]
    assert names[0] == names[1]


def test_a_folder_that_has_changed_is_told_and_not_mixed_in(tmp_path: Path) -> None:
    setup = race_of(tmp_path, more="rounds: 2\n")
    race_all(setup, tmp_path / "out", 2)
    walkers = tmp_path / "walkers"
    (walkers / "entry-01.yaml").write_text(DESIGN)
    (walkers / "entry-02.yaml").unlink()
    (walkers / "new.yaml").write_text(DESIGN.replace("borage", "cress"))
    changed = race_of(tmp_path, more="rounds: 2\n")
    before = listing(tmp_path / "out")
    with pytest.raises(InputError, match="holds another race") as caught:
        race_all(changed, tmp_path / "out", 2)
    for words in ("entry-01.yaml has changed", "entry-02.yaml is gone", "new.yaml is new", "--restart"):
        assert words in str(caught.value)
    assert listing(tmp_path / "out") == before
    assert len(race_all(changed, tmp_path / "out", 2, restart=True).entries) == 5


def test_what_lies_in_the_folder_is_not_written_over(tmp_path: Path) -> None:
    setup = race_of(tmp_path, more="rounds: 1\n")
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "thesis.txt").write_text("mine")
    with pytest.raises(InputError, match=r"thesis\.txt"):
        race_all(setup, tmp_path / "full", 1)
    race_all(setup, tmp_path / "out", 1)
    (tmp_path / "out" / "standings.csv").write_text("mine")
    with pytest.raises(InputError, match=r"standings\.csv"):
        race_all(setup, tmp_path / "out", 1)
    (tmp_path / "out" / "standings.csv").unlink()
    (tmp_path / "out" / "round-001.json").write_text("{}")
    with pytest.raises(InputError, match=r"round-001\.json"):
        race_all(setup, tmp_path / "out", 1)
    (tmp_path / "out" / INDEX).write_text("[]")
    with pytest.raises(InputError, match=r"race\.json"):
        read_results(tmp_path / "out")


def test_identical_entries_get_each_place_alike(tmp_path: Path) -> None:
    """1,000 races through the engine, in which they bump and shade one another: chi-square for each entry."""
    count, rounds = 4, 1000
    (tmp_path / "walkers").mkdir()
    for number in range(count):
        text = DESIGN.replace("borage", f"borage {number}")
        (tmp_path / "walkers" / f"{number}.yaml").write_text(text)
    (tmp_path / "bright.yaml").write_text(BRIGHT)
    setup = race_of(
        tmp_path,
        form="together",
        more=f"rounds: {rounds}\ncourses: [{{arena: ./bright.yaml, lasts: 30 s, by: most light}}]\n",
    )
    assert setup.twins == (tuple(range(count)),)
    assert setup.turn == count
    places = np.zeros((count, count))
    by_start = np.zeros((count, count))
    for number in range(rounds):
        _, [(_, terms)] = setup.round_terms(number, [])
        for finish in run_heat(terms).finishes:
            places[finish.entry, finish.place - 1] += 1
            by_start[finish.start, finish.place - 1] += 1
    assert min(chisquare(row).pvalue for row in places) > 0.001
    # it is the starts that make places here, so that it is the turns which make the race fair
    assert chisquare(by_start[0]).pvalue < 1e-6


def test_one_that_never_moves_and_one_that_locks_up_come_last(tmp_path: Path) -> None:
    write_class(tmp_path / "walkers", 3)
    (tmp_path / "bright.yaml").write_text(BRIGHT)
    still = DESIGN.replace("borage", "still") + "panel: { current_per_light: 0.1 nA/lx }\n"
    (tmp_path / "walkers" / "still.yaml").write_text(still)
    locked = DESIGN.replace("borage", "locked") + (
        "panel: { current_per_light: 20 uA/lx }\nboth: { motor: { resistance: 200 ohm } }\n"
    )
    (tmp_path / "walkers" / "locked.yaml").write_text(locked)
    results = race_all(race_of(tmp_path, more="rounds: 8\n"), tmp_path / "out", 2)
    name = {one.number: one.name for one in results.entries}
    assert name[results.placings[-1].entry] == "still"
    for _, _, finish in results.finishes_of(results.placings[-1].entry):
        assert finish.status == NEVER_MOVED
        assert finish.progress == 0.0
    assert {finish.status for one in results.rounds for heat in one.heats for finish in heat.finishes} != {
        LOST
    }


@pytest.mark.parametrize("form", ["time trial", "together"])
def test_whom_the_model_loses_comes_last_and_the_others_race_without_it(
    form: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    setup = race_of(tmp_path, count=3, form=form, more="rounds: 2\n")
    whole = race_all(setup, tmp_path / "whole", 1)
    gone = {"Bela"}

    def lose(plans: Any, threads: Any, progress: Any, look: Any, called: Callable[[int], str]) -> Any:
        for number in range(sum(len(plan.walkers) for plan in plans)):
            if called(number) in gone:
                raise ModelError("the latch came to no end")
        return run_plans(plans, threads, progress, look, called)

    monkeypatch.setattr(heat_running, "run_plans", lose)
    results = race_all(setup, tmp_path / "out", 1)
    number = {one.name: one.number for one in results.entries}
    assert results.placings[-1].entry == number["Bela"]
    for before, now in zip(whole.rounds, results.rounds, strict=True):
        for old, new in zip(before.heats, now.heats, strict=True):
            *others, last = new.finishes
            assert (last.entry, last.place, last.status) == (number["Bela"], 3, LOST)
            assert last.note == "the latch came to no end"
            assert [one.place for one in others] == [1, 2]
            if form == "time trial":
                # who runs alone does what it did
                left = [one for one in old.finishes if one.entry != last.entry]
                assert [(one.entry, one.time_s) for one in others] == [
                    (one.entry, one.time_s) for one in left
                ]
    assert read_results(tmp_path / "out").as_dict() == results.as_dict()
    gone |= number.keys()
    none = race_all(setup, tmp_path / "none", 1)
    finishes = [finish for one in none.rounds for heat in one.heats for finish in heat.finishes]
    assert len(finishes) == 6
    assert {(one.place, one.status) for one in finishes} == {(1, LOST)}
    assert none.replays == ()


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@SUM(A1)", " =1", "\t=1", "\n=1"])
def test_a_name_is_no_formula(text: str) -> None:
    assert harmless(text).startswith("'")


@pytest.mark.parametrize("text", ["poppy", "a=b", "3-4", "🌻", "", "שלום"])
def test_a_plain_name_stays_as_it_is(text: str) -> None:
    assert harmless(text) == text


def test_a_mark_stays_its_own_in_every_picture(tmp_path: Path) -> None:
    """Whoever else is in a heat: its colours are in the picture, those of who is not there are not."""
    from PIL import Image

    from replays.drawing.colours import look
    from replays.drawing.pictures import draw_picture

    setup = race_of(tmp_path, 7, more="rounds: 2\nheat: 3\n", form="together")
    results = race_all(setup, tmp_path / "out", 2, replays="all")
    seen = set()
    for kept in results.replays:
        replay = read_replay(kept.path)
        heat = results.rounds[kept.round - 1].heats[kept.heat]
        here = sorted(one.entry for one in heat.finishes)
        assert list(replay.marks) == here
        draw_picture(replay, tmp_path / "heat.png", 900)
        with Image.open(tmp_path / "heat.png") as picture:
            colours = {colour[:3] for _, colour in picture.convert("RGB").getcolors(1 << 24) or []}
        # the colours of the others are elsewhere in the picture too
        for entry in (2, 3, 4, 6):
            assert (look(entry).colour in colours) == (entry in here), (entry, here)
        seen |= set(here)
    assert seen == set(range(7))
