"""The command race: a class of walkers, round by round, to a ranking."""

import os
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from arena.cli.options import (
    OneOf,
    Seconds,
    Whole,
    as_json,
    cause_ticker,
    shipped,
    threads_option,
    ticker_option,
    walker_called,
    why_option,
)
from arena.cli.output_files import check_papers
from arena.cli.terminal import print_json, progress, tell_report

if TYPE_CHECKING:
    from arena.races.race_plan import RacePlan
    from arena.races.race_setup import RaceSetup
    from arena.races.results import RaceResults
    from arena.reports.race_runs import ShownRun
    from replays.format.tables import Replay

KEPT = "the rounds that were through are kept in {folder}, and the same command goes on from there"


@click.command()
@click.argument("what", nargs=-1, required=True, shell_complete=shipped())
@click.option(
    "--course",
    shell_complete=shipped("race", "arena"),
    help="A shipped race, like sprint, or an arena; the race of the plan if left out.",
)
@click.option(
    "--format",
    "form",
    type=OneOf("format", "time trial", "together", "heats and final", "pairs", "relay"),
    help="Who meets whom: time trial, together, 'heats and final', pairs or relay.",
)
@click.option("--rounds", type=Whole(1, 10_000), help="Rounds to run; enough for a turn at each start else.")
@click.option("--seed", type=Whole(0, 2**63 - 1), help="Number from which all chance follows; 1 if left out.")
@click.option(
    "--out",
    "--folder",
    "-o",
    "folder",
    type=click.Path(file_okay=False, path_type=Path),
    help="Where all results go; a folder called after the plan or the entries, here, if left out.",
)
@click.option(
    "--replays",
    type=OneOf("which", "none", "last", "all"),
    default="last",
    show_default=True,
    help="Rounds of which a replay is kept: none, last or all.",
)
@click.option("--check", is_flag=True, help="Run nothing; tell who can race, by which rules, and how long.")
@click.option(
    "--papers",
    type=click.Path(path_type=Path),
    help="Folder for papers.html: results, course and ways, and a page to print for each walker.",
)
@click.option("--restart", is_flag=True, help="Throw away the rounds that lie in the folder already.")
@click.option("--show", is_flag=True, help="Show the last race to the whole room when it is over.")
@click.option(
    "--film",
    type=click.Path(dir_okay=False, path_type=Path),
    help="Make a film of the last race; .gif and .png, or .mp4 with the extra film.",
)
@click.option("--film-size", help="Size of the film: slide, phone, or width x height like 640x360.")
@click.option(
    "--film-lasts",
    type=Seconds("time", "s", least=1.0, most=600.0),
    help="How long the race takes in the film; as long as can be followed if left out.",
)
@ticker_option
@click.option("--yours", help="Name of an entry that is told in any case, also behind the first ten.")
@why_option
@threads_option
@as_json
def race(what: tuple[str, ...], folder: Path | None, check: bool, to_json: bool, **how: Any) -> None:
    """Race all walkers of a folder, and tell who is ahead of whom and how sure that is.

    WHAT is a folder of designs, a pattern like 'walkers/*.yaml', several files, or a race's own file that
    names its entries. Rounds are kept as they finish: stopped in the midst, the same command goes on.

    For example: photodrome race walkers --course bean-race --rounds 30
    """
    from arena.races.entries import read_entries
    from arena.races.race_setup import prepare_race

    plan, names = _plan_and_entries(what, how["course"])
    plan = plan.changed(format=how["form"], rounds=how["rounds"], seed=how["seed"])
    with progress("reading"):
        setup = prepare_race(plan, read_entries(names))
    _check_yours(setup, how["yours"])
    folder = folder or Path(f"{_stem(what[0])}.race")
    check_papers(how["papers"], folder)
    _check_film(how)
    if check:
        _check(setup, how["threads"], to_json)
        return
    _run(setup, folder, how, to_json)


def _plan_and_entries(what: tuple[str, ...], course: str | None) -> "tuple[RacePlan, tuple[str, ...]]":
    """The race that is meant, and where its entries are."""
    from agents.errors import OptionError
    from agents.text.marked_yaml import read_text
    from arena.races.entries import is_several, other_kind
    from arena.races.race_plan import DEFAULT_COURSE, race_on, read_race

    first = Path(what[0])
    is_one = len(what) == 1 and first.is_file() and not is_several(what[0])
    if is_one and other_kind(read_text(first, what[0])) == "race":
        plan = read_race(first if first.name != what[0] else f"./{what[0]}")
        if not plan.entries:
            raise OptionError(
                f"{what[0]}: names no entries; give a folder, and this file as --course, or add entries:"
            )
        return plan if course is None else race_on(course), plan.entries
    return race_on(course or DEFAULT_COURSE), what


def _check_yours(setup: "RaceSetup", yours: str | None) -> None:
    """Refuse a name that nobody has before the race is run rather than after it."""
    from agents.errors import OptionError

    names = [one.name for one in setup.entries]
    if yours is not None and yours.strip().casefold() not in {one.casefold() for one in names}:
        told = f"{', '.join(names[:6])}{' …' * (len(names) > 6)}"
        raise OptionError(f"--yours: no walker of the race is called {yours!r}; there are {told}")


def _check_film(how: dict[str, Any]) -> None:
    """Refuse a film that cannot be, and what is said of none, before the race is run rather than after it."""
    from agents.errors import OptionError

    if not how["film"]:
        for option in ("film_size", "film_lasts"):
            if how[option] is not None:
                raise OptionError(f"--{option.replace('_', '-')} is for a film; add --film with its file")
        if how["ticker"] and not how["show"]:
            raise OptionError("--ticker is for a film or for the show; add --film with its file, or --show")
        return
    from replays.drawing.films import film_size

    film_size(how["film"], how["film_size"])


def _stem(name: str) -> str:
    """What a folder of results is called after."""
    stem = Path(name).resolve().name
    for ending in (".yaml", ".yml"):
        stem = stem.removesuffix(ending)
    return "".join(letter if letter.isalnum() or letter in "-_ ." else "_" for letter in stem)[:60] or "race"


def _check(setup: "RaceSetup", threads: int | None, to_json: bool) -> None:
    from arena.cli.first_start import everything_compiled
    from arena.cli.race_report import print_setup, setup_dict
    from arena.races.racing import expected_time

    with progress("getting ready", "measuring how long it takes") as tell, everything_compiled(tell):
        seconds = expected_time(setup, threads)
    if to_json:
        print_json(setup_dict(setup, seconds))
    else:
        print_setup(setup, seconds)
    if setup.scratched:
        click.get_current_context().exit(2)


def _show(results: "RaceResults", how: dict[str, Any], *, is_told: bool = True) -> None:
    """Show, or film, the race that was run last."""
    from agents.errors import OptionError
    from arena.cli.terminal import printable
    from replays.format.replay_file import read_replay

    film, kept = how["film"], results.replays
    if not (how["show"] or film):
        return
    if not kept:
        raise OptionError("no replay of a race is kept that could be shown; leave out --replays none")
    last = max(kept, key=lambda one: (one.round, -one.heat, one.stage))
    replay, heading = read_replay(last.path), f"{results.name}, round {last.round}"
    yours = None
    if how["yours"] is not None and how["yours"].strip().casefold() in map(str.casefold, replay.design_names):
        yours = walker_called(replay, how["yours"])
    elif how["yours"] is not None:
        told = f"{printable(how['yours'])} was not in the last race, which is the one that is shown"
        click.echo(told, err=not is_told)
    if film:
        from replays.drawing.films import make_show

        with progress("getting ready", "filming") as tell:
            make_show(
                replay, film, how["film_size"], progress=tell, yours=yours, heading=heading,
                lasts_s=how["film_lasts"], ticker=_ticker(replay, yours, how),
            )  # fmt: skip
        click.echo(f"film: {printable(str(film))}", err=not is_told)
    if how["show"]:
        from replays.window.screen import watch_show

        watch_show(replay, yours=yours, heading=heading, ticker=_ticker(replay, yours, how))


def _ticker(
    replay: "Replay", yours: int | None, how: dict[str, Any]
) -> "Callable[[float, float], str] | None":
    return cause_ticker(replay, yours) if how["ticker"] else None


def _run(setup: "RaceSetup", folder: Path, how: dict[str, Any], to_json: bool) -> None:
    from agents.errors import StoppedError
    from arena.cli.first_start import everything_compiled
    from arena.cli.race_report import print_notes, print_race

    if not to_json:
        print_notes(setup)
    kept = KEPT.format(folder=folder)
    try:
        with progress("getting ready", "racing", kept) as tell, everything_compiled(tell):
            from arena.races.racing import race_all

            results = race_all(setup, folder, how["threads"], how["restart"], tell, how["replays"])
        runs = _runs(setup, results, how) if how["why"] else None
    except KeyboardInterrupt:
        raise StoppedError(f"stopped; {kept}") from None
    papers = _papers(setup, results, how, kept, runs)
    if to_json:
        files = sorted(one.name for one in folder.iterdir() if not one.name.startswith("."))
        told = {} if runs is None else {"accounts": _as_dicts(results, runs)}
        print_json({**results.as_dict(), "folder": str(folder), "files": files, **told})
        _show(results, how, is_told=False)
        return
    print_race(results)
    if runs is not None:
        from arena.cli.account_report import print_why

        print_why(results, runs)
    tell_report(papers)
    _show(results, how)


def _runs(setup: "RaceSetup", results: "RaceResults", how: dict[str, Any]) -> "dict[int, ShownRun]":
    """Account for everybody, and keep that beside the standings."""
    from arena.races.racing import keep_accounts
    from arena.reports.race_runs import shown_runs

    kept = "the race itself is kept"
    with progress("reading what happened", "trying changes", kept) as tell:
        runs = shown_runs(setup, results, how["tries"], how["threads"] or os.cpu_count() or 1, tell)
    keep_accounts(setup, results.folder, how["tries"], _as_dicts(results, runs))
    return runs


def _as_dicts(results: "RaceResults", runs: "dict[int, ShownRun]") -> list[dict[str, Any]]:
    return [runs[one.entry].as_dict() for one in results.placings if one.entry in runs]


def _papers(
    setup: "RaceSetup",
    results: "RaceResults",
    how: dict[str, Any],
    kept: str,
    runs: "dict[int, ShownRun] | None",
) -> Path | None:
    """Write the papers of a race, if they are asked for; returns where."""
    from agents.errors import StoppedError

    if how["papers"] is None:
        return None
    from arena.reports.html_page import PAPERS, write_page
    from arena.reports.race_page import race_page
    from replays.format.whole_files import make_folder

    try:
        with progress("getting ready", "writing papers", kept) as tell:
            threads = how["threads"] or os.cpu_count() or 1
            page = race_page(setup, results, how["tries"], threads, tell, runs)
    except KeyboardInterrupt:
        raise StoppedError(f"stopped before the papers were written; {kept}") from None
    make_folder(how["papers"])
    write_page(page, how["papers"] / PAPERS)
    return Path(how["papers"] / PAPERS)
