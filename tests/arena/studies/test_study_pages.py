"""Pages of studies whose figures are counted anew: what is written, and what is told to be read."""

from pathlib import Path

import pytest

from arena.studies.plans.study import read_study
from arena.studies.running.trials import run_trials
from arena.studies.statistics.estimates import Estimate, estimate, tell
from arena.studies.trial_scores import SCORES
from tests.helpers.study_pages import PAGES, page_path, told_figures, with_figures
from tests.helpers.study_pages_anew import main, moved, to_read, told_in_page


@pytest.mark.parametrize("name", PAGES)
def test_a_page_with_its_own_figures_is_itself(name: str) -> None:
    text = page_path(name).read_text(encoding="utf-8")
    again = with_figures(name, text, told_figures(name), None)
    # but for a figure that is broken over two lines
    assert again.split() == text.split()
    assert [line for line in again.splitlines() if line.startswith("|")] == [
        line for line in text.splitlines() if line.startswith("|")
    ]


def test_another_figure_comes_in_wherever_the_page_tells_it_and_lines_stay_narrow() -> None:
    key, new = ("", "reached", "8R", "22k"), "80.12345 % [71.12345, 88.12345]"
    text = page_path("latch-motor").read_text(encoding="utf-8")
    changed = with_figures("latch-motor", text, {**told_figures("latch-motor"), key: new}, None)
    # in the table, below it and in the comparison with common practice
    assert " ".join(changed.split()).count(new) == 3
    laid_anew = set(changed.splitlines()) - set(text.splitlines())
    assert all(len(line) <= 120 for line in laid_anew if not line.startswith("|"))
    assert " ".join(changed.split()) == " ".join(text.split()).replace(told_figures("latch-motor")[key], new)


def test_a_page_of_few_trials_tells_what_the_trials_say(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    shipped = page_path("lamp-crowd").read_bytes()
    main(["lamp-crowd", "--repeats", "2", "--results", str(tmp_path), "--into", str(tmp_path)])
    plan = read_study("lamp-crowd")
    trials = run_trials(plan, [plan.setting_of((8,))], range(2))[0]
    light = tell(SCORES["light"], estimate(SCORES["light"], trials[SCORES["light"].column]))
    (row,) = [
        line for line in (tmp_path / "lamp-crowd.md").read_text().splitlines() if line.startswith("| 8 ")
    ]
    assert row.startswith(f"| 8 | {light} | ")
    assert (tmp_path / "study-lamp-crowd.png").stat().st_size > 10_000
    assert page_path("lamp-crowd").read_bytes() == shipped
    told = capsys.readouterr().out
    assert "  to read: A body of poppy is 52 mm across." in told
    with pytest.raises(SystemExit):
        main(["lamp-crowd", "--repeats", "2"])


@pytest.mark.parametrize(
    ("former", "now", "is_told"),
    [
        ("50 % [44, 57]", "56 % [50, 62]", False),
        ("50 % [44, 57]", "70 % [64, 76]", True),
        ("38.7 min [35.2, not in time]", "not in time", False),
        ("20.1 min [19.0, 22.2]", "not in time [30.0, not in time]", True),
        ("–", "–", False),
        ("–", "0.5 [0.4, 0.6]", True),
    ],
)
def test_what_has_moved_is_told(former: str, now: str, is_told: bool) -> None:
    assert moved(former, now) == is_told


def test_times_are_told_in_minutes() -> None:
    told = [
        told_in_page(SCORES[score], Estimate(value, low, high, 9, "bootstrap"))
        for score, value, low, high in (
            ("reach time", 1626.0, 1440.0, 1692.0),
            ("reach time", float("inf"), 3258.0, float("inf")),
            ("reached", 0.5, 0.44, 0.57),
            ("directness", float("nan"), float("nan"), float("nan")),
        )
    ]
    assert told == ["27.1 min [24.0, 28.2]", "not in time [54.3, not in time]", "50 % [44, 57]", "–"]


def test_sentences_with_figures_that_nobody_counts_are_to_be_read() -> None:
    text = "# 3 heads\n\nWith 8 ohm 5 % [1, 9] come. Of them 7 fell silent. None was\nlost.\n\n| 1 | 2 |"
    assert to_read(text) == ["With 8 ohm 5 % [1, 9] come.", "Of them 7 fell silent."]
