"""The commands demo, run and try: designs in an arena."""

import contextlib
import os
import sys
from collections.abc import Callable
from functools import cache
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from arena.cli.options import Command, as_json, contest_options, shipped, why_option
from arena.cli.output_files import spare_inputs
from arena.cli.terminal import command_word, print_json, printable, progress, tell_error, telling_of_stop

if TYPE_CHECKING:
    from arena.accounts.telling import Account
    from arena.scene.contest import Contest
    from replays.format.tables import Replay

# Walkers of whom --why tells at the most, unless there are more designs than that.
MOST_ACCOUNTS = 60
DEMO_ARENA = "potting-bench"
DEMO_DESIGNS = ("poppy", "sunflower", "lentil")


@click.command()
@contest_options
@click.option(
    "--folder",
    type=click.Path(file_okay=False, path_type=Path),
    default=Path(),
    help="Where demo.replay.npz and demo.png go; here if left out.",
)
@click.option("--no-window", is_flag=True, help="Open no window when it is done.")
@as_json
def demo(folder: Path, no_window: bool, to_json: bool, **how: Any) -> None:
    """Race three shipped designs to a grow lamp, past a seed tray and the shade of a leaf."""
    from arena.scene.contest import read_contest

    out, drawing = folder / "demo.replay.npz", folder / "demo.png"
    contest = read_contest(DEMO_ARENA, DEMO_DESIGNS, *_how(how))
    _spare_others(contest, out, drawing)
    replay = _run(contest, out, how["threads"], drawing)
    _report_run(replay, out, to_json, drawing)
    if not no_window and not to_json and _has_screen():
        from replays.window.screen import watch as watch_window

        watch_window(replay, out)


def designs_option(verb: str) -> Callable[[Command], Command]:
    """Return what gives a command the option --design, for designs to enter or to try."""
    return click.option(
        "--design",
        "-d",
        "designs",
        multiple=True,
        required=True,
        shell_complete=shipped("design"),
        help=f"Design, folder or pattern of files to {verb}; may be given again.",
    )


@click.command()
@click.argument("arena", shell_complete=shipped("arena"))
@designs_option("enter")
@contest_options
@click.option(
    "--out",
    "-o",
    type=click.Path(dir_okay=False, path_type=Path),
    default=Path("run.replay.npz"),
    show_default=True,
    help="File for the replay.",
)
@click.option(
    "--anyway",
    is_flag=True,
    help="Start the run even where the disk has no room for what it may leave.",
)
@why_option
@as_json
def run(arena: str, designs: tuple[str, ...], out: Path, anyway: bool, to_json: bool, **how: Any) -> None:
    """Run designs in ARENA, print their scores and write the replay.

    For example: photodrome run slalom -d poppy -d lentil --walkers 2 --duration '20 min'
    """
    from arena.scene.contest import read_contest

    designs = _entered(designs)
    spare_inputs(out, (arena, *designs))
    contest = read_contest(arena, designs, *_how(how))
    _look_ahead(contest, out, how["threads"], anyway)
    replay = _run(contest, out, how["threads"])
    accounts = _accounts(contest, replay, out, how) if how["why"] else None
    _report_run(replay, out, to_json, accounts=accounts)


@click.command("try")
@click.argument("arena", shell_complete=shipped("arena"))
@designs_option("try")
@contest_options
def try_by_hand(arena: str, designs: tuple[str, ...], **how: Any) -> None:
    """Turn the values of DESIGNS and move what stands in ARENA, in a window that runs them at once.

    A fault shows its cure. Two designs or more meet with the same luck, round by round, and a line tells
    which is before the other in how many pairs, and whether that tells them apart.
    """
    from arena.workbench.jobs import RaceTerms
    from arena.workbench.window import workbench

    if not workbench(arena, _entered(designs), RaceTerms(*_how(how), how["threads"])):
        tell_error("the engine is still being compiled for the next time; this takes up to a minute")


def _entered(names: tuple[str, ...]) -> tuple[str, ...]:
    """Designs by name, with all those of a folder or a pattern in place of it; what is broken is told.

    Raises OptionError where a folder holds no sound design at all.
    """
    from agents.text.shipped import shipped_names
    from arena.races.entries import is_several, sound_files

    found: list[str] = []
    shipped = shipped_names("design")
    for name in names:
        if name in shipped or not is_several(name):
            found.append(name)
            continue
        sound, told = sound_files(name)
        found += sound
        for line in told:
            tell_error(line)
    return tuple(found)


def _how(how: dict[str, Any]) -> tuple[int | None, float | None, int, bool]:
    return how["walkers"], how["duration"], how["seed"], how["alone"]


def _spare_others(contest: "Contest", out: Path, drawing: Path) -> None:
    """Refuse to write over what no run of this contest left, or through a link: nobody named these files."""
    from agents.errors import InputError, OptionError
    from replays.format.replay_file import read_replay

    there = [path for path in (out, drawing) if path.is_symlink() or path.is_file()]
    is_ours = False
    if out.is_file() and not any(path.is_symlink() for path in there):
        with contextlib.suppress(InputError):
            found = read_replay(out)
            entered = [one.design.name for one in contest.entrants]
            is_ours = (found.arena["name"], found.design_names) == (contest.arena.name, entered)
    if there and not is_ours:
        raise OptionError(
            f"{out.parent}: {' and '.join(path.name for path in there)} would be written over, but no demo "
            "left that there; move it away, or choose another --folder"
        )


def _run(contest: "Contest", out: Path, threads: int | None, drawing: Path | None = None) -> "Replay":
    """Run a contest with a progress bar and write its replay; nothing is run that could not be written."""
    from arena.cli.first_start import everything_compiled
    from replays.format.replay_file import write_replay
    from replays.format.whole_files import check_writable

    for path in (out, drawing):
        if path is not None:
            check_writable(path)
    with telling_of_stop(out):
        with progress("getting ready") as tell, everything_compiled(tell):
            from arena.simulation import simulate

            def tell_and_fetch(share: float) -> None:
                tell(share)
                # while the engine is at work, for it leaves the interpreter idle
                _fetch_what_reports(drawing is not None)

            replay = simulate(contest, threads, tell_and_fetch)
        write_replay(replay, out)
    return replay


def _look_ahead(contest: "Contest", out: Path, threads: int | None, anyway: bool) -> None:
    """Tell what a large run will cost. Raises OptionError where the disk has no room for what it leaves."""
    from arena.forecast import forecast

    with telling_of_stop(out), progress("looking ahead"):
        found = forecast(contest, threads)
    if found is None:
        return
    if not anyway:
        found.check_room(out)
    if found.is_large:
        tell_error(f"{printable(str(out))}: {found.words()}; Ctrl-C stops it")


def _accounts(contest: "Contest", replay: "Replay", out: Path, how: dict[str, Any]) -> "list[Account]":
    """Account for the walkers, or, where they are many, for the first copies of every design."""
    from agents.errors import StoppedError
    from arena.accounts.line_up import line_up
    from arena.accounts.telling import accounts_of

    line = line_up(contest)
    copies = max(1, MOST_ACCOUNTS // len(contest.entrants))
    chosen = [number for number, luck in enumerate(line.luck.tolist()) if luck < copies]
    try:
        with progress("reading what happened", "trying changes", f"{out} is there") as tell:
            threads = how["threads"] or os.cpu_count() or 1
            return accounts_of(line, replay, chosen, tries=how["tries"], threads=threads, progress=tell)
    except KeyboardInterrupt:
        raise StoppedError(f"stopped before the changes were tried; {out} is there") from None


@cache
def _fetch_what_reports(draws: bool) -> None:
    """Import what :func:`_report_run` needs."""
    import_module("replays.scoring.scores")
    import_module("replays.scoring.crowds")
    import_module("replays.causes.bench_faults")
    import_module("arena.cli.bench_and_run_report")
    if draws:
        import_module("replays.drawing.pictures")


def _report_run(
    replay: "Replay",
    out: Path,
    to_json: bool,
    drawing: Path | None = None,
    accounts: "list[Account] | None" = None,
) -> None:
    from replays.causes.bench_faults import entries_on_bench
    from replays.scoring.crowds import score_crowds
    from replays.scoring.scores import score as score_one

    scores, crowds, entries = score_one(replay), score_crowds([replay]), entries_on_bench(replay)
    if drawing is not None:
        from replays.drawing.pictures import draw_picture

        draw_picture(replay, drawing, scores=scores)
    if to_json:
        files = [str(path) for path in (out, drawing) if path is not None]
        print_json(
            {
                "arena": replay.arena["name"],
                "seconds": replay.seconds,
                "seed": replay.header["seed"],
                "files": files,
                **({} if accounts is None else {"accounts": [one.as_dict() for one in accounts]}),
                "designs": [
                    {
                        **one.as_dict(),
                        "stood_in_lx": entry.light_lx,
                        "eye_lx": entry.eye_lx,
                        "faults": entry.faults,
                    }
                    for one, entry in zip(scores, entries, strict=True)
                ],
                "crowds": [one.as_dict() for one in crowds],
            }
        )
        return
    from arena.cli.bench_and_run_report import (
        print_crowds,
        print_crowds_in_short,
        print_entries,
        print_run,
        print_scores,
    )

    print_run(replay)
    print_scores(scores)
    if drawing is None:
        print_crowds(crowds)
    else:
        print_crowds_in_short(crowds, f"photodrome score {command_word(out)}")
    print_entries(entries)
    if accounts is not None:
        from arena.cli.account_report import print_accounts

        print_accounts(accounts, len(replay.walkers))
    click.echo(f"replay: {printable(str(out))}; to see it: photodrome watch {command_word(out)}")
    if drawing is not None:
        click.echo(f"picture: {printable(str(drawing))}")


def _has_screen() -> bool:
    """Whether a window would be seen by anyone."""
    if os.environ.get("CI") or os.environ.get("SDL_VIDEODRIVER") in ("dummy", "offscreen"):
        return False
    if not sys.stdout.isatty():
        return False
    if sys.platform in ("win32", "darwin"):
        return True
    return bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))
