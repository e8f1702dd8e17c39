"""The command pick: the best values for a design out of a drawer of parts."""

from pathlib import Path

import click

from arena.cli.options import Whole, air_option, as_json, kind_option, light_range_options, shipped
from arena.cli.output_files import spare_inputs
from arena.cli.terminal import print_json, printable, progress


@click.command()
@click.argument("design", shell_complete=shipped("design"))
@click.option(
    "--drawer",
    "-p",
    required=True,
    shell_complete=shipped("drawer"),
    help="Drawer of parts: a file of your own, or a shipped name like potting-shed.",
)
@light_range_options
@click.option(
    "--light-count",
    type=Whole(2, 20),
    default=4,
    show_default=True,
    help="Lights to try, both ends included, in even ratios.",
)
@kind_option
@air_option
@click.option(
    "--keep",
    multiple=True,
    help="A part that stays as the design has it, like both.motor; may be given again.",
)
@click.option(
    "--out",
    "-o",
    type=click.Path(dir_okay=False, path_type=Path),
    help="YAML file for the picked design, called after it.",
)
@click.option(
    "--parts", type=click.Path(dir_okay=False, path_type=Path), help="CSV file for the parts list with costs."
)
@as_json
def pick(
    design: str,
    drawer: str,
    from_lx: float,
    to_lx: float,
    light_count: int,
    kind: str,
    air: float,
    keep: tuple[str, ...],
    out: Path | None,
    parts: Path | None,
    to_json: bool,
) -> None:
    """Pick the best values for DESIGN out of a drawer of parts, and list these parts with their cost.

    For example: photodrome pick poppy --drawer potting-shed --from 1klx --to 20klx --out mine.yaml
    """
    from agents.design.spec import read_design
    from agents.drawer.contents import read_drawer
    from agents.drawer.stock import parts_csv
    from agents.errors import OptionError, StoppedError
    from agents.testbench.picking import pick_parts
    from agents.text.shipped import find_document
    from arena.cli.pick_report import picked_text
    from arena.studies.kits.kit_yield import lights_between
    from replays.format.whole_files import check_writable, write_whole

    spec, stock = read_design(design), read_drawer(drawer)
    source = find_document(design, "design")
    outputs = [path for path in (out, parts) if path is not None]
    for path in outputs:
        check_writable(path)
        spare_inputs(path, [source, find_document(drawer, "drawer")])
    if len(outputs) == 2 and outputs[0].resolve() == outputs[1].resolve():
        raise OptionError(f"{out}: cannot be both design and parts list; give each a place of its own")
    lights = lights_between(from_lx, to_lx, light_count)
    try:
        with progress("looking through the drawer", "trying parts") as tell:
            found = pick_parts(spec, stock, lights, kind, keep, tell, air)
    except KeyboardInterrupt:
        raise StoppedError("stopped; nothing was written") from None
    if out is not None:
        write_whole(out, picked_text(source, found, out.stem).encode())
    if parts is not None:
        write_whole(parts, parts_csv(found.parts, stock.currency).encode())
    if to_json:
        print_json({**found.as_dict(stock.currency), "files": [str(path) for path in outputs]})
        return
    from arena.cli.pick_report import print_picked

    print_picked(spec, stock, found)
    for path in outputs:
        click.echo(f"{'design' if path == out else 'parts list'}: {printable(str(path))}")
