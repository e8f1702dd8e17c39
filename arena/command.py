"""The command line. Only this module and its neighbour arena.report print, and only this one exits.

0: done. 1: the work failed. 2: the input is wrong. What a command needs is imported when it runs, so that
``--help`` answers at once.
"""

import json
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

if TYPE_CHECKING:
    from arena.contest import Contest
    from replays.record import Replay

    FloatType = click.ParamType[float]
else:
    # older releases of click know no such parameter
    FloatType = click.ParamType

Command = TypeVar("Command", bound=Callable[..., Any])

# Lights of a bench sheet if none is asked for [lx]: a desk, a window, the open shade, the sun.
BENCH_LIGHTS = (300.0, 1e3, 3e3, 10e3, 30e3, 100e3)

DEMO_ARENA = "potting-bench"
DEMO_DESIGNS = ("poppy", "sunflower", "lentil")


class Measured(FloatType):
    """A value with its unit, like ``3klx``; where ``plain``, a number alone too."""

    def __init__(self, unit: str, plain: bool = False, **bounds: float) -> None:
        self.unit, self.plain, self.bounds = unit, plain, bounds
        self.name = {"lx": "light", "s": "time"}[unit]

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """Read it, or fail with what is expected."""
        from agents.quantities import Quantity, QuantityError

        if isinstance(value, float):
            return value
        text = str(value)
        if self.plain and text.replace(".", "", 1).isdigit():
            text = f"{text} {self.unit}"
        try:
            return float(Quantity(self.unit, **self.bounds).read(text))
        except QuantityError as error:
            self.fail(f"got {error.got}, expected {error.expected}", param, ctx)


def as_json(function: Command) -> Command:
    """Give a command the option --json."""
    return click.option("--json", "to_json", is_flag=True, help="Print JSON in place of tables.")(function)


def contest_options(function: Command) -> Command:
    """Give a command the options that say how a contest is run."""
    for option in (
        click.option(
            "--threads", type=click.IntRange(1, 1024), help="Threads to use; all cores if left out."
        ),
        click.option(
            "--alone",
            is_flag=True,
            help="Give every walker the arena to itself; copy k of each design starts at the same place.",
        ),
        click.option(
            "--seed", type=click.IntRange(0, 2**63 - 1), default=1, show_default=True, help="Keys all chance."
        ),
        click.option(
            "--seconds", type=Measured("s", plain=True, above=0.0, most=1e6), help="Length of the run."
        ),
        click.option(
            "--walkers", type=int, help="Built copies of each design; the arena says how many else."
        ),
    ):
        function = option(function)
    return function


def theme_option(function: Command) -> Command:
    """Give a command the option --theme."""
    # the names of replays.theme.THEMES, told here so that --help need not fetch them
    words = click.Choice(["light", "dark"])
    option = click.option("--theme", type=words, default="light", show_default=True, help="Paper to draw on.")
    return option(function)


@click.group(context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(package_name="photodrome")
def photodrome() -> None:
    """Solar walkers made from bare transistors, on the bench and in an arena.

    A design or an arena is the bare name of a shipped one, like poppy or potting-bench, or the path of your
    own YAML file.
    """


@photodrome.command()
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
    from arena.contest import read_contest

    out = folder / "demo.replay.npz"
    contest = read_contest(DEMO_ARENA, DEMO_DESIGNS, *_how(how))
    replay = _run(contest, out, how["threads"])
    _report_run(replay, out, to_json, picture=folder / "demo.png")
    if not no_window and not to_json and _has_screen():
        from replays.screen import watch as watch_window

        watch_window(replay, out)


@photodrome.command()
@click.argument("arena")
@click.option(
    "--design", "-d", "designs", multiple=True, required=True, help="A design to enter; may be given again."
)
@contest_options
@click.option(
    "--out",
    "-o",
    type=click.Path(dir_okay=False, path_type=Path),
    default=Path("run.replay.npz"),
    show_default=True,
    help="File for the replay.",
)
@as_json
def run(arena: str, designs: tuple[str, ...], out: Path, to_json: bool, **how: Any) -> None:
    """Run DESIGNS in ARENA and write the replay."""
    from arena.contest import read_contest

    replay = _run(read_contest(arena, designs, *_how(how)), out, how["threads"])
    _report_run(replay, out, to_json)


@photodrome.command()
@click.argument("files", nargs=-1, required=True, type=click.Path(path_type=Path))
@as_json
def score(files: tuple[Path, ...], to_json: bool) -> None:
    """Score replays, walkers of one design together."""
    from replays.file import read_replay
    from replays.score import score_many

    scores = score_many([read_replay(path) for path in files])
    if to_json:
        _print_json({"files": [str(path) for path in files], "designs": [one.as_dict() for one in scores]})
        return
    from arena.report import print_scores

    print_scores(scores)


@photodrome.command()
@click.argument("file", type=click.Path(path_type=Path))
@theme_option
@click.option(
    "--scale", type=click.FloatRange(1.0, 4.0), help="Pixels a point; what suits the screen if left out."
)
def watch(file: Path, theme: str, scale: float | None) -> None:
    """Show a replay in a window: play it, follow a walker, and see why each side fired."""
    from replays.file import read_replay

    replay = read_replay(file)
    from replays.screen import watch as watch_window
    from replays.theme import THEMES

    watch_window(replay, file, THEMES[theme], scale)


@photodrome.command("try")
@click.argument("arena")
@click.option(
    "--design", "-d", "designs", multiple=True, required=True, help="A design to try; may be given again."
)
@contest_options
def try_by_hand(arena: str, designs: tuple[str, ...], **how: Any) -> None:
    """Turn the values of DESIGNS and move what stands in ARENA, in a window that runs them at once."""
    from arena.workbench import workbench
    from arena.workbench_work import Terms

    if not workbench(arena, designs, Terms(*_how(how), how["threads"])):
        click.echo(
            "the engine is still being compiled for the next time; this takes up to a minute", err=True
        )


@photodrome.command()
@click.argument("file", type=click.Path(path_type=Path))
@click.option(
    "--out", "-o", type=click.Path(dir_okay=False, path_type=Path), required=True, help="PNG file to write."
)
@click.option("--width", type=int, default=1600, show_default=True, help="Width in pixels.")
@click.option("--size", help="slide, phone, or width x height like 1280x720; in place of --width.")
@click.option(
    "--at", "time_s", type=Measured("s", plain=True, least=0.0), help="Time of the run; its end else."
)
@theme_option
def picture(file: Path, out: Path, width: int, size: str | None, time_s: float | None, theme: str) -> None:
    """Draw a replay from above: light, shadows, paths and pulses."""
    from replays.file import read_replay
    from replays.score import score as score_one

    replay = read_replay(file)
    from replays.picture import picture as draw_picture
    from replays.theme import THEMES

    draw_picture(replay, out, width, score_one(replay), size=size, time_s=time_s, theme=THEMES[theme])
    click.echo(f"wrote {out}")


@photodrome.command()
@click.argument("file", type=click.Path(path_type=Path))
@click.option(
    "--out",
    "-o",
    type=click.Path(dir_okay=False, path_type=Path),
    required=True,
    help="File to write; .gif and .png, or .mp4 with the extra film.",
)
@click.option(
    "--from", "from_s", type=Measured("s", plain=True, least=0.0), default=0.0, help="First moment."
)
@click.option(
    "--to", "to_s", type=Measured("s", plain=True, above=0.0), help="Last moment; the end if left out."
)
@click.option("--speed", type=float, help="Times as fast as life; for a film of 20 s if left out.")
@click.option("--fps", type=float, default=20.0, show_default=True, help="Frames a second.")
@click.option("--size", help="slide, phone, or width x height like 1280x720.")
@click.option("--waits/--no-waits", default=False, help="Show waits in which nobody moves; left out else.")
@theme_option
def film(file: Path, out: Path, size: str | None, waits: bool, theme: str, **how: Any) -> None:
    """Make a film of a replay."""
    from replays.file import read_replay

    replay = read_replay(file)
    from replays.film import Shooting
    from replays.film import film as make_film
    from replays.theme import THEMES

    shooting = Shooting(how["from_s"], how["to_s"], how["speed"], how["fps"], not waits)
    with _progress("getting ready", "filming") as progress:
        make_film(replay, out, shooting, size, THEMES[theme], progress)
    click.echo(f"wrote {out}")


@photodrome.command()
@click.argument("design")
@click.option(
    "--light",
    "-l",
    "lights",
    multiple=True,
    type=Measured("lx", least=0.0, most=1e6),
    help="Light on eyes and panel; may be given again.",
)
@click.option("--kind", default="daylight", show_default=True, help="Kind of light, as in an arena's lamps.")
@click.option("--no-cures", is_flag=True, help="Name faults only; look for no cause and no cure.")
@as_json
def bench(design: str, lights: tuple[float, ...], kind: str, no_cures: bool, to_json: bool) -> None:
    """Measure DESIGN on the bench: triggers, charging, one pulse, and its faults with cause and cure."""
    from agents.bench import bench as measure_lights
    from agents.design import read_design
    from agents.diagnosis import diagnose

    spec = read_design(design)
    asked = sorted(lights or BENCH_LIGHTS)
    points = measure_lights(spec, asked, kind)
    reports = []
    if not no_cures and any(point.faults for point in points):
        with _progress("looking for causes and cures", measured=False):
            reports = diagnose(spec, (asked[0], asked[-1]), kind)
    if to_json:
        _print_json(
            {
                "design": spec.name,
                "points": [point.as_dict() for point in points],
                "diagnosis": [report.as_dict() for report in reports],
            }
        )
        return
    from arena.report import print_bench

    print_bench(spec.name, spec.about, points, reports)


@photodrome.command()
@click.argument("files", nargs=-1, required=True)
@as_json
def check(files: tuple[str, ...], to_json: bool) -> None:
    """Read designs, arenas and replays, and tell all that is wrong with them."""
    from agents.errors import InputError, SpecError
    from arena.checking import check_file

    found: list[dict[str, Any]] = []
    for name in files:
        try:
            found.append({"file": name, "is": check_file(name), "faults": []})
        except SpecError as error:
            found.append({"file": name, "is": None, "faults": [vars(fault) for fault in error.faults]})
            if not to_json:
                click.echo(str(error), err=True)
        except InputError as error:
            found.append({"file": name, "is": None, "faults": [{"file": name, "message": str(error)}]})
            if not to_json:
                click.echo(f"{name}: {error}", err=True)
        else:
            if not to_json:
                click.echo(f"{name}: {found[-1]['is']}, nothing wrong")
    if to_json:
        _print_json({"files": found})
    if any(one["faults"] for one in found):
        sys.exit(2)


def _how(how: dict[str, Any]) -> tuple[int | None, float | None, int, bool]:
    return how["walkers"], how["seconds"], how["seed"], how["alone"]


def _run(contest: "Contest", out: Path, threads: int | None) -> "Replay":
    """Run a contest with a progress bar and write its replay; nothing is run that could not be written."""
    from replays.file import write_replay
    from replays.writing import check_writable

    check_writable(out)
    with _progress("getting ready") as progress:
        from arena.simulate import simulate

        replay = simulate(contest, threads, progress)
    write_replay(replay, out)
    return replay


def _report_run(replay: "Replay", out: Path, to_json: bool, picture: Path | None = None) -> None:
    from replays.score import score as score_one

    scores = score_one(replay)
    if picture is not None:
        from replays.picture import picture as draw_picture

        draw_picture(replay, picture, scores=scores)
    if to_json:
        files = [str(path) for path in (out, picture) if path is not None]
        _print_json(
            {
                "arena": replay.arena["name"],
                "seconds": replay.seconds,
                "seed": replay.header["seed"],
                "files": files,
                "designs": [one.as_dict() for one in scores],
            }
        )
        return
    from arena.report import print_run, print_scores

    print_run(replay)
    print_scores(scores)
    click.echo(f"replay: {out}    photodrome watch {out}")
    if picture is not None:
        click.echo(f"picture: {picture}")


@contextmanager
def _progress(words: str, doing: str = "running", measured: bool = True) -> Iterator[Callable[[float], None]]:
    """A bar on the terminal while something takes long; nothing where errors do not go to a terminal."""
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

    columns: Sequence[Any] = (TextColumn("{task.description}"), BarColumn(), TimeElapsedColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as bars:
        task = bars.add_task(words, total=None)

        def tell(done: float) -> None:
            # before the first world has got anywhere, the kernels may still have to be compiled
            if done > 0.0:
                bars.update(task, description=doing, total=1.0, completed=done)

        yield tell if measured else lambda done: None


def _has_screen() -> bool:
    """Whether a window would be seen by anyone."""
    import os

    if os.environ.get("CI") or os.environ.get("SDL_VIDEODRIVER") in ("dummy", "offscreen"):
        return False
    if not sys.stdout.isatty():
        return False
    if sys.platform in ("win32", "darwin"):
        return True
    return bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))


def _print_json(value: Any) -> None:
    click.echo(json.dumps(_finite(value), indent=2, allow_nan=False))


def _finite(value: Any) -> Any:
    """The same with null for every number that JSON has no word for."""
    if isinstance(value, dict):
        return {key: _finite(one) for key, one in value.items()}
    if isinstance(value, list | tuple):
        return [_finite(one) for one in value]
    if isinstance(value, float) and not (float("-inf") < value < float("inf")):
        return None
    return value


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the command line and exit."""
    from agents.errors import InputError, PhotodromeError

    try:
        photodrome.main(args=arguments, prog_name="photodrome", standalone_mode=False)
    except click.exceptions.Exit as error:
        sys.exit(error.exit_code)
    except click.ClickException as error:
        error.show()
        sys.exit(2)
    except (KeyboardInterrupt, click.Abort):
        click.echo("stopped; nothing was written", err=True)
        sys.exit(1)
    except PhotodromeError as error:
        click.echo(str(error), err=True)
        sys.exit(2 if isinstance(error, InputError) else 1)
    except BrokenPipeError:
        # whoever read the output has had enough
        sys.stderr.close()
        sys.exit(1)
