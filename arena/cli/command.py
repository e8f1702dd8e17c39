"""The command line. Only this folder's reports and its terminal print, and only they exit.

0: done. 1: the work failed. 2: the input is wrong. What a command needs is imported when it runs, so that
``--help`` answers at once.
"""

import contextlib
import os
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import click

from arena.cli.contest_commands import demo, run, try_by_hand
from arena.cli.file_commands import new, schema
from arena.cli.fit_command import fit
from arena.cli.kit_command import kit
from arena.cli.options import (
    Measured,
    Plain,
    Seconds,
    Whole,
    air_options,
    as_json,
    cause_ticker,
    drawer_option,
    kind_option,
    projector_option,
    report_option,
    shipped,
    theme_option,
    walker_called,
)
from arena.cli.output_files import check_picture_name, check_report, spare_inputs
from arena.cli.pick_command import pick
from arena.cli.race_command import race
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
@click.argument("file", type=click.Path(path_type=Path))
@theme_option
@click.option(
    "--scale", type=Plain(least=1.0, most=4.0), help="Pixels a point; what suits the screen if left out."
)
@projector_option
def watch(file: Path, theme: str, scale: float | None, projector: bool, yours: str | None) -> None:
    """Show a replay in a window: play it, follow a walker, and see why each side fired."""
    from replays.drawing.theme import THEMES
    from replays.format.replay_file import read_replay

    replay = read_replay(file)
    from replays.window.screen import watch as watch_window
    from replays.window.screen import watch_show

    if projector:
        watch_show(replay, THEMES[theme], yours=walker_called(replay, yours))
    else:
        watch_window(replay, file, THEMES[theme], scale)


@photodrome.command()
@click.argument("file", type=click.Path(path_type=Path))
@click.option(
    "--out", "-o", type=click.Path(dir_okay=False, path_type=Path), required=True, help="PNG file to write."
)
@click.option("--width", type=Whole(800, 6000), default=1600, show_default=True, help="Width in pixels.")
@click.option("--size", help="slide, phone, or width x height like 1280x720; in place of --width.")
@click.option("--at", "time_s", type=Seconds("time", "s", least=0.0), help="Time of the run; its end else.")
@theme_option
def picture(file: Path, out: Path, width: int, size: str | None, time_s: float | None, theme: str) -> None:
    """Draw a replay from above: light, shadows, paths and pulses."""
    from replays.format.replay_file import read_replay
    from replays.format.whole_files import check_writable
    from replays.scoring.scores import score as score_one

    spare_inputs(out, (file,))
    replay = read_replay(file)
    check_writable(out)
    check_picture_name(out)
    from replays.drawing.pictures import draw_picture
    from replays.drawing.theme import THEMES

    draw_picture(replay, out, width, score_one(replay), size=size, time_s=time_s, theme=THEMES[theme])
    click.echo(f"picture: {printable(str(out))}")


@photodrome.command()
@click.argument("file", type=click.Path(path_type=Path))
@click.option(
    "--out",
    "-o",
    type=click.Path(dir_okay=False, path_type=Path),
    required=True,
    help="File to write; .gif and .png, or .mp4 with the extra film.",
)
@click.option("--from", "from_s", type=Seconds("time", "s", least=0.0), default="0", help="First moment.")
@click.option("--to", "to_s", type=Seconds("time", "s", above=0.0), help="Last moment; the end if left out.")
@click.option(
    "--speed", type=Plain(above=0.0, most=1e6), help="Times as fast as life; for a film of 20 s if left out."
)
@click.option(
    "--fps", type=Plain(least=1.0, most=60.0), default="20", show_default=True, help="Frames a second."
)
@click.option("--size", help="slide, phone, or width x height like 1280x720.")
@click.option("--waits/--no-waits", default=False, help="Show waits in which nobody moves; left out else.")
@click.option(
    "--ticker",
    is_flag=True,
    help="Tell at the foot why walkers fire the side they do; with --yours, that walker alone.",
)
@theme_option
@projector_option
def film(
    file: Path,
    out: Path,
    size: str | None,
    waits: bool,
    theme: str,
    projector: bool,
    ticker: bool,
    **how: Any,
) -> None:
    """Make a film of a replay."""
    from replays.format.replay_file import read_replay

    spare_inputs(out, (file,))
    replay = read_replay(file)
    from replays.drawing.films import Shooting, make_film, make_show
    from replays.drawing.theme import THEMES

    yours = walker_called(replay, how["yours"])
    told = cause_ticker(replay, yours) if ticker else None
    if projector:
        with telling_of_stop(out), progress("getting ready", "filming") as tell:
            # a show takes a minute or two, of which more frames would make a huge file
            rate = how["fps"] if out.suffix.lower() == ".mp4" else min(how["fps"], 12.0)
            make_show(replay, out, size, THEMES[theme], tell, rate=rate, yours=yours, ticker=told)
        click.echo(f"film: {printable(str(out))}")
        return

    shooting = Shooting(how["from_s"], how["to_s"], how["speed"], how["fps"], not waits)
    with telling_of_stop(out), progress("getting ready", "filming") as tell:
        make_film(replay, out, shooting, size, THEMES[theme], tell, ticker=told)
    click.echo(f"film: {printable(str(out))}")


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
    from agents.errors import InputError, SpecError
    from arena.cli.checking import check_file, notes_on_design

    found: list[dict[str, Any]] = []
    for name in files:
        what: str | None = None
        notes: tuple[str, ...] = ()
        faults: list[dict[str, Any]] = []
        try:
            what = check_file(name)
            if what.startswith("design "):
                notes = notes_on_design(name)
        except SpecError as error:
            faults = [{**vars(fault), "message": str(fault)} for fault in error.faults]
        except InputError as error:
            faults = [{"file": name, **dict.fromkeys(_FAULT_KEYS), "message": str(error)}]
        found.append({"file": name, "is": what, "faults": faults, "notes": list(notes)})
        if not to_json:
            for fault in faults:
                tell_error(fault["message"])
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


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the command line and exit."""
    from agents.errors import InputError, PhotodromeError

    for stream in (sys.stdout, sys.stderr):
        # a terminal that lacks a letter shows a ? in its place
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    try:
        code = photodrome.main(args=arguments, prog_name="photodrome", standalone_mode=False)
        if sys.stdout is not None:
            sys.stdout.flush()
        sys.exit(code or 0)
    except click.ClickException as error:
        error.show()
        sys.exit(2)
    except (KeyboardInterrupt, click.Abort):
        tell_error("stopped")
        sys.exit(1)
    except PhotodromeError as error:
        tell_error(str(error))
        sys.exit(2 if isinstance(error, InputError) else 1)
    except MemoryError:
        tell_error("not enough memory for this; run fewer walkers, or a shorter time")
        sys.exit(1)
    except OSError as error:
        sys.exit(_after(error))


def _after(error: OSError) -> int:
    """Tell what the system refused; returns the exit code."""
    if error.filename is not None:
        tell_error(f"{error.filename}: {error.strerror}")
        return 2
    if not isinstance(error, BrokenPipeError):
        tell_error(f"the output cannot be written ({error.strerror})")
    # What is left to print goes nowhere, so that Python does not stumble over it on its way out.
    with contextlib.suppress(OSError, ValueError, AttributeError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    return 1
