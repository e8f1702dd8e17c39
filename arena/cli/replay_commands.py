"""The commands watch, picture and film: what a replay shows, on a screen or in a file."""

from pathlib import Path
from typing import Any

import click

from arena.cli.options import (
    Plain,
    Seconds,
    Whole,
    cause_ticker,
    projector_option,
    theme_option,
    ticker_option,
    walker_called,
)
from arena.cli.output_files import check_picture_name, spare_inputs
from arena.cli.terminal import printable, progress, telling_of_stop


@click.command()
@click.argument("file", type=click.Path(path_type=Path))
@theme_option
@click.option(
    "--scale", type=Plain(least=1.0, most=4.0), help="Pixels a point; what suits the screen if left out."
)
@ticker_option
@projector_option
def watch(
    file: Path, theme: str, scale: float | None, projector: bool, yours: str | None, ticker: bool
) -> None:
    """Show a replay in a window: play it, follow a walker, and see why each side fired."""
    from replays.drawing.theme import THEMES
    from replays.format.replay_file import read_replay

    replay = read_replay(file)
    from replays.window.screen import watch as watch_window
    from replays.window.screen import watch_show

    mine = walker_called(replay, yours)
    told = cause_ticker(replay, mine) if ticker else None
    if projector:
        watch_show(replay, THEMES[theme], yours=mine, ticker=told)
    else:
        watch_window(replay, file, THEMES[theme], scale, told)


@click.command()
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


@click.command()
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
    "--lasts",
    "lasts_s",
    type=Seconds("time", "s", least=1.0, most=600.0),
    help="How long the film takes, in place of --speed; with --projector, the run in it.",
)
@click.option(
    "--fps", type=Plain(least=1.0, most=60.0), default="20", show_default=True, help="Frames a second."
)
@click.option("--size", help="slide, phone, or width x height like 1280x720.")
@click.option("--waits/--no-waits", default=False, help="Show waits in which nobody moves; left out else.")
@click.option("--large", is_flag=True, help="Make it also if it has more than 4,000 million pixels.")
@ticker_option
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
    from agents.errors import OptionError
    from replays.format.replay_file import read_replay

    spare_inputs(out, (file,))
    if how["speed"] is not None and how["lasts_s"] is not None:
        raise OptionError("--speed and --lasts both say how fast it goes; give one of them")
    replay = read_replay(file)
    from replays.drawing.films import Shooting, make_film, make_show
    from replays.drawing.theme import THEMES

    yours = walker_called(replay, how["yours"])
    told = cause_ticker(replay, yours) if ticker else None
    if projector:
        with telling_of_stop(out), progress("getting ready", "filming") as tell:
            # a show takes a minute or two, of which more frames would make a huge file
            rate = how["fps"] if out.suffix.lower() == ".mp4" else min(how["fps"], 12.0)
            make_show(
                replay, out, size, THEMES[theme], tell, rate=rate, yours=yours, ticker=told,
                lasts_s=how["lasts_s"], large=how["large"],
            )  # fmt: skip
        click.echo(f"film: {printable(str(out))}")
        return

    shooting = Shooting(how["from_s"], how["to_s"], how["speed"], how["fps"], not waits, how["lasts_s"])
    with telling_of_stop(out), progress("getting ready", "filming") as tell:
        make_film(replay, out, shooting, size, THEMES[theme], tell, ticker=told, large=how["large"])
    click.echo(f"film: {printable(str(out))}")
