"""The commands sweep and tune: plans of many trials."""

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from arena.cli.options import (
    Command,
    Renamed,
    Whole,
    as_json,
    drawer_option,
    report_option,
    shipped,
    threads_option,
)
from arena.cli.output_files import check_report
from arena.cli.terminal import command_word, print_json, printable, progress, tell_error, tell_report

if TYPE_CHECKING:
    from arena.studies.plans.study import Study
    from arena.studies.running.cluster_address import Tls

KEPT = "the trials that were through are kept in {folder}, and the same command goes on from there"

# A study that takes longer than this [s] is told how it may be stopped.
LONG = 20.0


def _study_options(function: Command) -> Command:
    for option in (
        click.option("--no-plots", is_flag=True, help="Draw no pictures."),
        click.option(
            "--restart",
            cls=Renamed,
            formerly="--afresh",
            is_flag=True,
            help="Throw away the trials that lie in the folder already.",
        ),
        report_option,
        threads_option,
        click.option(
            "--folder",
            "-o",
            type=click.Path(file_okay=False, path_type=Path),
            help="Where all results go; a folder called after the plan, here, if left out.",
        ),
    ):
        function = option(function)
    return function


@click.command()
@click.argument("plan", shell_complete=shipped("study"))
@_study_options
@click.option("--on", metavar="tcp://HOST:PORT", help="Dask scheduler whose workers are to run the trials.")
@click.option(
    "--tls-ca", type=click.Path(path_type=Path), help="Certificate of who signs, for --on tls://HOST:PORT."
)
@click.option("--tls-cert", type=click.Path(path_type=Path), help="Own certificate, likewise.")
@click.option("--tls-key", type=click.Path(path_type=Path), help="Its key, likewise.")
@as_json
def sweep(
    plan: str,
    threads: int | None,
    folder: Path | None,
    on: str | None,
    restart: bool,
    no_plots: bool,
    report: Path | None,
    to_json: bool,
    **tls_files: Path | None,
) -> None:
    """Run every trial of PLAN, and tell which settings do best and how sure that is.

    PLAN is the name of a shipped study, like feeler-escape, or the path of your own file. Trials are kept as
    they finish: stopped in the midst, the same command goes on from there.
    """
    from agents.errors import StoppedError
    from arena.studies.plans.study import read_study

    study = read_study(plan)
    folder = folder or Path(f"{Path(study.file).stem}.sweep")
    _check_page(report, study, folder)
    tls = _certificates(on, tls_files)
    _announce(study, folder, to_json)
    try:
        with progress("getting ready", "sweeping", KEPT.format(folder=folder)) as tell:
            from arena.studies.running.sweeping import run_sweep

            outcome = run_sweep(study, folder, threads, on, restart, tell, not no_plots, tls)
        from arena.studies.telling.summary import publish_summary, summarise

        with progress("comparing", stopped=KEPT.format(folder=folder)):
            summary = summarise(outcome)
            table, *pictures = publish_summary(summary, not no_plots)
    except KeyboardInterrupt:
        raise StoppedError(f"stopped; {KEPT.format(folder=folder)}") from None
    files = [table, outcome.csv, outcome.npz, *pictures]
    from arena.cli.study_report import print_summary

    if report is not None:
        _write_page("a study", study, lambda: print_summary(summary), files, report)
    if to_json:
        print_json({**summary.as_dict(), "files": [str(path) for path in files]})
        return
    print_summary(summary)
    _list_files(files)
    tell_report(report)


@click.command()
@click.argument("plan", shell_complete=shipped("study"))
@_study_options
@click.option("--budget", type=Whole(1, 10_000_000), help="Trials to spend; as the plan says if left out.")
@drawer_option
@as_json
def tune(
    plan: str,
    threads: int | None,
    folder: Path | None,
    budget: int | None,
    drawer: str | None,
    restart: bool,
    no_plots: bool,
    report: Path | None,
    to_json: bool,
) -> None:
    """Search the values that PLAN names for the design that does best in its first score.

    Only values of the plan's lists and preferred series are tried; so what comes out can be bought. The text
    of the winning design is written beside the tables. Trials are kept as they finish: stopped in the midst,
    the same command goes on from there, with a larger --budget too.
    """
    from agents.errors import StoppedError
    from arena.studies.plans.study import read_study

    study = read_study(plan, most_trials=None)
    if drawer is not None:
        from agents.drawer.contents import read_drawer
        from arena.studies.plans.drawer_values import within_drawer

        study = within_drawer(study, read_drawer(drawer))
    folder = folder or Path(f"{Path(study.file).stem}.tune")
    _check_page(report, study, folder)
    kept = KEPT.format(folder=folder)
    try:
        with progress("getting ready", "searching", kept) as tell:
            from arena.studies.search.search_files import draw_search, open_search, write_search
            from arena.studies.search.tuning import tune as search

            with open_search(study, folder, restart) as journal:
                found = search(study, budget, threads, tell, journal)
                files = write_search(found, folder, journal)
                files += [] if no_plots else draw_search(found, folder, journal)
    except KeyboardInterrupt:
        raise StoppedError(f"stopped; {kept}") from None
    from arena.cli.study_report import print_search

    if report is not None:
        _write_page("a search for the best", study, lambda: print_search(found), files, report)
    if to_json:
        print_json({**found.as_dict(), "files": [str(path) for path in files]})
        return
    print_search(found)
    _list_files(files)
    tell_report(report)


def _certificates(on: str | None, files: Mapping[str, Path | None]) -> "Tls":
    """The certificates of a cluster, and a warning where it is asked without any."""
    from agents.errors import OptionError
    from arena.studies.running.cluster_address import Tls, read_address

    tls = Tls(files["tls_ca"], files["tls_cert"], files["tls_key"])
    if on is not None:
        warning = read_address(on, tls).warning
        if warning:
            tell_error(f"note: {warning}")
    elif tls.is_given:
        raise OptionError("--tls-ca, --tls-cert and --tls-key are for --on tls://HOST:PORT")
    return tls


def _check_page(report: Path | None, study: "Study", folder: Path) -> None:
    """Refuse a page that cannot be, or that would lie among results, where nothing else may lie."""
    from agents.errors import OptionError

    check_report(report, [study.file])
    if report is not None and report.absolute().parent.resolve() == folder.absolute().resolve():
        raise OptionError(f"{report}: lies in the folder of the results; give the report another place")


def _write_page(sort: str, study: "Study", tell: Callable[[], None], files: list[Path], report: Path) -> None:
    """Write what ``tell`` prints as a page, with the pictures, and the design that came of it, if one did."""
    from arena.cli.printed_tables import recorded
    from arena.reports.html_page import write_page
    from arena.reports.told_page import told_page

    pictures = [path for path in files if path.suffix == ".png"]
    design = "".join(path.read_text(encoding="utf-8") for path in files if path.suffix == ".yaml")
    write_page(told_page(sort, study.name, study.about, recorded(tell), pictures, design), report)


def _announce(study: "Study", folder: Path, to_json: bool) -> None:
    """Say what is about to be run, where results are not to be read by a program."""
    tell: Callable[[str], Any] = tell_error if to_json else click.echo
    tell(printable(f"{study.name}: {study.size_text}"))
    if study.typical_time > LONG:
        tell(printable(f"trials are kept in {folder} as they finish; Ctrl-C stops, the same command goes on"))


def _list_files(files: list[Path]) -> None:
    for path in files:
        what = {".png": "picture", ".yaml": "design"}.get(path.suffix, "table")
        ending = f"; to measure it: photodrome bench {command_word(path)}" if what == "design" else ""
        click.echo(f"{what}: {printable(str(path))}{ending}")
