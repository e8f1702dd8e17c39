"""The files of a search: the winning design, the finalists, how the search went, and a picture of that."""

from pathlib import Path
from typing import Any

from agents.errors import OptionError
from arena.studies.plans.study import Study
from arena.studies.running.results import csv_bytes
from arena.studies.running.results_folder import publish, remove_own, tidy
from arena.studies.running.rounding import arithmetic
from arena.studies.running.search_journal import SearchJournal
from arena.studies.search.tuning import Search
from arena.studies.statistics.estimates import tell
from arena.studies.telling.plots import history
from arena.studies.trial_scores import with_unit_of
from replays.format.whole_files import make_folder, write_whole

WINNER, FINALISTS, ROUNDS, PICTURE = "winner.yaml", "finalists.csv", "rounds.csv", "rounds.png"
"""Names of the files of a search in its folder."""


def open_search(study: Study, folder: Path, restart: bool = False) -> SearchJournal:
    """Make the folder of a search, and open the journal in it; ``restart`` throws away what it holds.

    Raises as :class:`SearchJournal` does, and OptionError where the winner would be written over what the
    plan reads.
    """
    make_folder(folder)
    winner = folder / WINNER
    for name in study.plan.files:
        if winner.exists() and Path(name).exists() and winner.samefile(name):
            raise OptionError(f"{winner}: is an input of this very search; choose another --folder")
    parts = study.parts | {"arithmetic of processor and libraries": arithmetic()}
    names = (WINNER, FINALISTS, ROUNDS, PICTURE)
    journal = SearchJournal(folder, study.name, parts, restart, names)
    try:
        tidy(folder, {*names, *journal.claimed()})
    except BaseException:
        journal.close()
        raise
    return journal


def write_search(search: Search, folder: Path, journal: SearchJournal) -> list[Path]:
    """Write the winning design, the finalists, and how the search went, and return the files.

    Where nothing has won, a winner that an earlier search left there is removed. Raises OutputError.
    """
    if search.winner_text is None:
        remove_own(folder, (WINNER, PICTURE), journal)
    with publish(folder, journal) as stage:
        written = _write(search, stage)
    return [folder / path.name for path in written]


def _write(search: Search, folder: Path) -> list[Path]:
    written = []
    if search.winner_text is not None:
        written.append(folder / WINNER)
        write_whole(written[0], search.winner_text.encode())
    names = [f"{one.label()} [{one.unit}]" if one.unit else one.label() for one in search.factors]
    rows: list[list[Any]] = []
    ends = ("value", "low", "high", "count")
    for one in search.as_dict()["finalists"]:
        figure = one.pop("figure")
        verdict = [int(one.pop("best")), int(one.pop("alike")), 0]
        rows.append([*one.values(), *(figure[key] for key in ends), *verdict])
    if search.gain is not None:
        figures_of = [getattr(search.gain.other, key) for key in ends]
        rows.append([*search.own_values(), *figures_of, 0, int(not search.gain.is_better), 1])
    figures = [with_unit_of(search.score, part) for part in (search.score.name, "low", "high")]
    headings = [*names, *figures, "trials", "best", "alike", "as it is"]
    steps = [
        [step.trials, step.repeats, step.alive, step.value, step.low, step.high]
        for step in search.race.history
    ]
    for name, head, body in (
        (FINALISTS, headings, rows),
        (ROUNDS, ["trials", "repeats", "settings left", *figures], steps),
    ):
        written.append(folder / name)
        write_whole(folder / name, csv_bytes(head, body))
    return written


def draw_search(search: Search, folder: Path, journal: SearchJournal) -> list[Path]:
    """Draw how the search went; returns the files. Raises OutputError."""
    steps = search.race.history
    if not steps:
        return []
    with publish(folder, journal) as stage:
        history(
            stage / PICTURE,
            _finding(search),
            search.score,
            [step.trials for step in steps],
            [step.value for step in steps],
            [step.alive for step in steps],
            note="Bars: the interval that holds the true figure with 95 % confidence; a leader's flatters it "
            f"where it was picked by the same trials; the last round has others; seed {search.study.seed}",
            ends=([step.low for step in steps], [step.high for step in steps]),
            study=search.study.name,
        )
    return [folder / PICTURE]


def _finding(search: Search) -> str:
    """What the search found, as the title of its picture: no more than the fresh repeats say."""
    gain, score, table = search.gain, search.score, search.finalists
    if gain is None or table is None or search.race.comparison is None:
        return f"{score.words}: the budget was too small to say whether anything is better"
    own = f"{search.beginning} as it is: {tell(score, gain.other)}"
    if not gain.is_better:
        return f"No setting told better than {own}"
    places = table.places[search.order[0]].tolist()
    best = [f"{one.words} {one.shown[level]}" for one, level in zip(table.factors, places, strict=True)]
    return f"{', '.join(best)}: {tell(score, gain.one)}, better than {own}"
