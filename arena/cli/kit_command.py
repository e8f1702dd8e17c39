"""The command kit: how many of the kits of a design will work, and what would make more of them do so."""

from pathlib import Path
from typing import Any

import click

from arena.cli.options import (
    AnyType,
    Measured,
    Renamed,
    Whole,
    as_json,
    drawer_option,
    kind_option,
    light_range_options,
    report_option,
    shipped,
    threads_option,
)
from arena.cli.output_files import check_picture_name, check_report, spare_inputs
from arena.cli.terminal import print_json, printable, progress, tell_error, tell_report

KEPT = "the copies that were through are kept in {folder}, and the same command goes on from there"


class FaultName(AnyType):
    """The name of a fault."""

    name = "fault"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """Take it, or fail with all there are and the nearest."""
        from agents.errors import nearest, refusal
        from agents.testbench.faults import FAULTS, fault_title

        titles = {name: fault_title(name).removesuffix(")").split(" (") for name in FAULTS}
        for name, words in titles.items():
            if value in (*words, fault_title(name)):
                return name
        if value not in FAULTS:
            expected = ", ".join(words[0] for words in titles.values())
            near = nearest(value, [word for words in titles.values() for word in words])
            self.fail(refusal(repr(value), f"one of {expected}", near), param, ctx)
        tell_error(f"{value} is now called {fault_title(value)}")
        return value


@click.command()
@click.argument("design", shell_complete=shipped("design"))
@click.option(
    "--copies",
    type=Whole(1, 1_000_000),
    default=1000,
    show_default=True,
    help="Built copies to draw from the tolerances of the parts.",
)
@light_range_options
@click.option(
    "--light-count",
    "lights",
    cls=Renamed,
    formerly="--lights",
    type=Whole(2, 100),
    default=5,
    show_default=True,
    help="Lights to try, both ends included, in even ratios.",
)
@kind_option
@click.option(
    "--allow", multiple=True, type=FaultName(), help="A fault that does not count; may be given again."
)
@click.option(
    "--straight",
    type=Measured("angle", "rad", least=0.01, most=1.5),
    default="30 deg",
    show_default=True,
    help="How far beside a lamp a kit may head and still count as steering straight.",
)
@click.option(
    "--eyes",
    type=click.Path(path_type=Path),
    help="Table of measured eyes to pair: the line eye,trigger, then lines like E07,2.31 V. "
    "Thirty eyes of the design's own tolerance if left out.",
)
@click.option(
    "--kits",
    type=Whole(1, 10_000),
    default=30,
    show_default=True,
    help="How many kits are going to be built, to tell how many of these will work.",
)
@click.option(
    "--seed",
    type=Whole(0, 2**63 - 1),
    default=1,
    show_default=True,
    help="Number from which all chance follows; copy k is the one that races with this seed.",
)
@drawer_option
@threads_option
@click.option(
    "--folder",
    type=click.Path(file_okay=False, path_type=Path),
    help="Where copies are kept until the work is through; a folder called after the design, here, "
    "if left out.",
)
@click.option("--restart", is_flag=True, help="Throw away the copies that lie in the folder already.")
@click.option(
    "--out", "-o", type=click.Path(dir_okay=False, path_type=Path), help="CSV file for every single copy."
)
@click.option(
    "--plot", type=click.Path(dir_okay=False, path_type=Path), help="PNG file for a picture of the gains."
)
@report_option
@as_json
def kit(
    design: str,
    from_lx: float,
    to_lx: float,
    lights: int,
    out: Path | None,
    plot: Path | None,
    report: Path | None,
    folder: Path | None,
    to_json: bool,
    **how: Any,
) -> None:
    """Tell how many kits of DESIGN will work, which part's tolerance is to blame, and how to pair the eyes.

    For example: photodrome kit poppy --copies 1000 --from 1klx --to 20klx

    Copies are kept as they are measured, until the work is through: stopped in the midst, the same command
    goes on from there.
    """
    from agents.design.spec import read_design
    from agents.errors import OptionError, StoppedError
    from agents.text.shipped import find_document
    from arena.cli.kit_report import draw_gains, print_kit, print_shortages, write_kit_page
    from arena.studies.kits.eye_picking import read_eyes
    from arena.studies.kits.judging import Demand
    from arena.studies.kits.kept_copies import KeptCopies, kit_identity
    from arena.studies.kits.kit_yield import estimate_yield, lights_between, write_copies
    from replays.format.whole_files import check_writable

    spec = read_design(design)
    eyes = None if how["eyes"] is None else read_eyes(how["eyes"])
    short = None
    if how["drawer"] is not None:
        from agents.drawer.contents import read_drawer
        from arena.studies.kits.kit_drawer import design_with_drawer, eyes_in, shortages

        stock = read_drawer(how["drawer"])
        short = shortages(spec, stock, how["kits"])
        spec = design_with_drawer(spec, stock)
        if eyes is None and len(measured := eyes_in(stock)) >= 2:
            eyes = measured
    demand = Demand(
        lights_between(from_lx, to_lx, lights), how["kind"], frozenset(how["allow"]), how["straight"]
    )
    inputs = [find_document(design, "design"), *([] if how["eyes"] is None else [how["eyes"]])]
    outputs = [path for path in (out, plot) if path is not None]
    for path in outputs:
        check_writable(path)
        spare_inputs(path, inputs)
    if len(outputs) == 2 and outputs[0].resolve() == outputs[1].resolve():
        raise OptionError(f"{out}: cannot be both table and picture; give each a place of its own")
    if plot is not None:
        check_picture_name(plot)
    check_report(report, [*inputs, *outputs])
    name = Path(f"{Path(design).stem}.kit")
    identity = kit_identity(spec, demand, how["copies"], how["seed"], eyes)
    with KeptCopies(folder, name, identity, how["restart"]) as copies:
        kept = "nothing was written" if copies.refused else KEPT.format(folder=copies.folder)
        try:
            with progress("getting ready", "building kits", kept) as tell:
                found = estimate_yield(
                    spec,
                    demand,
                    how["copies"],
                    how["seed"],
                    how["kits"],
                    eyes,
                    how["threads"],
                    tell,
                    copies.journal,
                )
        except KeyboardInterrupt:
            raise StoppedError(f"stopped; {kept}") from None
        if copies.refused:
            tell_error(f"note: no copies were kept on the way: {copies.refused}")
        if out is not None:
            write_copies(found, out)
        if plot is not None:
            draw_gains(found, plot)
        if report is not None:
            write_kit_page(found, design, short, how["kits"], report)
        if to_json:
            missing = {} if short is None else {"drawer_lacks": [one.as_dict() for one in short]}
            print_json({**found.as_dict(), **missing, "files": [str(path) for path in outputs]})
        else:
            print_kit(found, design)
            if short is not None:
                print_shortages(short, how["kits"])
            for path in outputs:
                click.echo(f"{'picture' if path == plot else 'table'}: {printable(str(path))}")
            tell_report(report)
        copies.finish()
