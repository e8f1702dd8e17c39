"""The command line. Only this folder's reports and its terminal print, and only they exit.

0: done. 1: the work failed. 2: the input is wrong. 130: stopped by Ctrl-C. What a command needs is imported
when it runs, so that ``--help`` answers at once.
"""

import os
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import click

from arena.cli.contest_commands import demo, run, try_by_hand
from arena.cli.exits import run_and_exit
from arena.cli.file_commands import new, schema
from arena.cli.fit_command import fit
from arena.cli.kit_command import kit
from arena.cli.options import (
    Measured,
    Whole,
    air_options,
    as_json,
    drawer_option,
    kind_option,
    report_option,
    shipped,
)
from arena.cli.output_files import check_report
from arena.cli.pick_command import pick
from arena.cli.race_command import race
from arena.cli.replay_commands import film, picture, watch
from arena.cli.sheet_command import sheet
from arena.cli.study_commands import sweep, tune
from arena.cli.terminal import (
    command_word,
    print_json,
    printable,
    progress,
    tell_error,
    tell_report,
    telling_of_stop,
)

# What a fault of a file as a whole has no word for.
_FAULT_KEYS = ("line", "column", "key", "got", "expected", "near")


@click.group(context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(package_name="photodrome")
def photodrome() -> None:
    """Solar walkers made from bare transistors, on the bench and in an arena.

    A design or an arena is the bare name of a shipped one, like poppy or potting-bench, or the path of your
    own YAML file. To see what it does, type: photodrome demo
    """


@photodrome.command()
@click.argument("files", nargs=-1, required=True, type=click.Path(path_type=Path))
@as_json
def score(files: tuple[Path, ...], to_json: bool) -> None:
    """Score replays, walkers of one design together."""
    from agents.errors import OptionError
    from replays.format.replay_file import read_replay
    from replays.scoring.crowds import score_crowds
    from replays.scoring.scores import score_many

    seen: set[str] = set()
    for path in files:
        if os.path.realpath(path) in seen:
            raise OptionError(f"{path}: given twice, its walkers would count twice; give it once")
        seen.add(os.path.realpath(path))
    replays = [read_replay(path) for path in files]
    scores, crowds = score_many(replays), score_crowds(replays)
    if to_json:
        print_json(
            {
                "files": [str(path) for path in files],
                "designs": [one.as_dict() for one in scores],
                "crowds": [one.as_dict() for one in crowds],
            }
        )
        return
    from arena.cli.bench_and_run_report import print_crowds, print_scores

    print_scores(scores)
    print_crowds(crowds)


@photodrome.command()
@click.argument("design", shell_complete=shipped("design"))
@click.option(
    "--light",
    "-l",
    "lights",
    multiple=True,
    type=Measured("light", "lx", least=0.0, most=1e6),
    help="Light on eyes and panel, like 3klx; may be given again. Six from 300 lx to 100 klx if left out.",
)
@kind_option
@air_options
@click.option(
    "--place",
    "places",
    multiple=True,
    help="Place whose light is meant, like desk or 'sunny floor'; may be given again. "
    "a name that is none lists them all.",
)
@click.option("--no-cures", is_flag=True, help="Name faults only; look for no cause and no cure.")
@click.option(
    "--apply", "number", type=Whole(1, 1000), help="Write the design with the cure of this number to --out."
)
@click.option("--out", "-o", type=click.Path(dir_okay=False, path_type=Path), help="File for --apply.")
@click.option("--replace", is_flag=True, help="Let --out be a file that is there, the design's own too.")
@click.option(
    "--table",
    type=click.Path(dir_okay=False, path_type=Path),
    help="CSV file for all figures from 10 lx to 120 klx.",
)
@click.option(
    "--plot",
    type=click.Path(dir_okay=False, path_type=Path),
    help="PNG file for rhythm and turn from 10 lx to 120 klx.",
)
@drawer_option
@report_option
@as_json
def bench(
    design: str, lights: tuple[float, ...], kind: str, report: Path | None, to_json: bool, **how: Any
) -> None:
    """Measure DESIGN on the bench: triggers, charging, one pulse, and its faults with cause and cure.

    Each cure has been tried as it is printed. To write the first one into a file of your own, with all
    remarks kept: photodrome bench nettle-twitches --apply 1 --out better.yaml
    """
    from agents.design.spec import read_design
    from agents.drawer.contents import read_drawer
    from agents.testbench.bench_figures import bench as measure_lights
    from agents.testbench.diagnosis import full_diagnosis
    from agents.testbench.eye_tables import table_notes
    from agents.testbench.working_air import USUAL_AIR, in_celsius, working_air
    from agents.text.shipped import find_document
    from arena.cli.asked_lights import asked_lights, refuse_several
    from arena.cli.bench_each import bench_each
    from arena.cli.bench_files import check_extras, write_extras
    from arena.cli.cure_files import check_place, write_cured
    from arena.cli.panel_report import panel_dict, panel_lines
    from arena.reports.bench_words import air_sentences

    spec = read_design(design)
    stock = None if how["drawer"] is None else read_drawer(how["drawer"])
    check_report(report, [find_document(design, "design")])
    extras = check_extras(how["table"], how["plot"], [find_document(design, "design"), how["out"], report])
    check_place(design, how["out"], how["number"], how["replace"], not how["no_cures"])
    groups = asked_lights(lights, kind, how["places"])
    if len(groups) > 1:
        if how["number"] is not None or report is not None or extras:
            option = "--report" if report is not None else "--table" if extras else "--apply"
            refuse_several(groups, option)
        word, has_cures = command_word(Path(design)), not how["no_cures"]
        bench_each(spec, word, groups, has_cures, to_json, how["air"], how["between"] or USUAL_AIR, stock)
        return
    asked, kind = groups[0].lights, groups[0].kind
    with progress("measuring"):
        ends = (asked[0], asked[-1])
        found = None if how["no_cures"] else full_diagnosis(spec, ends, kind, how["air"], stock)
        cured = found is not None and how["number"] is not None
        if found is not None and cured:
            spec = write_cured(design, found, how["number"], how["out"])
            found = None
        points = measure_lights(spec, asked, kind, how["air"])
        between = how["between"] or USUAL_AIR
        airs = [working_air(spec, light, kind, between, how["air"]) for light in asked]
    if report is not None:
        from arena.reports.bench_page import bench_page
        from arena.reports.html_page import write_page

        with telling_of_stop(report), progress("drawing"):
            write_page(bench_page(spec, points, found, kind, air_sentences(points, airs, between)), report)
    write_extras(spec, kind, how["table"], how["plot"])
    notes = table_notes(spec, asked)
    if to_json:
        told = {"reports": [], "whole_design": None} if found is None else found.as_dicts()
        print_json(
            {
                "design": spec.name,
                "panel": panel_dict(spec.panel),
                "places": list(groups[0].places),
                "points": [
                    {**point.as_dict(), "works_in_degC": in_celsius(one)}
                    for point, one in zip(points, airs, strict=True)
                ],
                "diagnosis": told["reports"],
                "whole_design": told["whole_design"],
                "files": [str(path) for path in (*([how["out"]] if cured else []), *extras)],
                "notes": list(notes),
            }
        )
        return
    from arena.cli.bench_and_run_report import print_bench
    from arena.cli.printed_tables import print_lines

    print_bench(spec.name, spec.about, points, notes, groups[0].lines())
    print_lines([*air_sentences(points, airs, between), *panel_lines(spec.panel)])
    if cured:
        click.echo(f"design: {printable(str(how['out']))}")
    elif found is not None:
        from arena.cli.cure_report import print_diagnosis

        keeping = "" if stock is None else f" --drawer {command_word(Path(how['drawer']))}"
        print_diagnosis(found, f"photodrome bench {command_word(Path(design))}{groups[0].options}{keeping}")
    for path in extras:
        click.echo(f"{'picture' if path == how['plot'] else 'table'}: {printable(str(path))}")
    tell_report(report)


@photodrome.command()
@click.argument(
    "files", nargs=-1, required=True, shell_complete=shipped("design", "arena", "study", "race", "drawer")
)
@as_json
def check(files: tuple[str, ...], to_json: bool) -> None:
    """Read designs, arenas, plans and replays, and tell all that is wrong with them.

    A note tells what is right and may yet mislead. It counts as nothing wrong.
    """
    from agents.errors import InputError, SpecError, more_faults
    from arena.cli.checking import check_file, notes_on_design

    found: list[dict[str, Any]] = []
    for name in files:
        what: str | None = None
        notes: tuple[str, ...] = ()
        faults: list[dict[str, Any]] = []
        more = 0
        try:
            what = check_file(name)
            if what.startswith("design "):
                notes = notes_on_design(name)
        except SpecError as error:
            faults = [{**vars(fault), "message": str(fault)} for fault in error.faults]
            more = error.more
        except InputError as error:
            faults = [{"file": name, **dict.fromkeys(_FAULT_KEYS), "message": str(error)}]
        found.append({"file": name, "is": what, "faults": faults, "more": more, "notes": list(notes)})
        if not to_json:
            for fault in faults:
                tell_error(fault["message"])
            if more:
                tell_error(more_faults(name, more))
            if what is not None:
                click.echo(printable(f"{name}: {what}, nothing wrong"))
            for note in notes:
                click.echo(printable(f"{name}: note: {note}"))
    if to_json:
        print_json({"files": found})
    if any(one["faults"] for one in found):
        click.get_current_context().exit(2)


for command in (demo, run, try_by_hand, sweep, tune, kit, pick, fit, sheet, new, schema):
    photodrome.add_command(command)
photodrome.add_command(race)
for command in (watch, picture, film):
    photodrome.add_command(command)


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the command line and exit."""
    run_and_exit(photodrome, arguments)
