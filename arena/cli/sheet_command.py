"""The command sheet: a building sheet to print, with schematic, order of building, readings and template."""

from pathlib import Path

import click

from arena.cli.options import Measured, kind_option
from arena.cli.output_files import check_report
from arena.cli.terminal import progress, tell_report, telling_of_stop


@click.command()
@click.argument("design")
@click.option(
    "--out",
    "-o",
    required=True,
    type=click.Path(dir_okay=False, path_type=Path),
    help="HTML file for the sheet; prints on two pages.",
)
@click.option(
    "--light",
    "-l",
    type=Measured("light", "lx", above=0.0, most=1e6),
    default="3 klx",
    show_default=True,
    help="Light on eyes and panel in which the readings will be taken.",
)
@kind_option
def sheet(design: str, out: Path, light: float, kind: str) -> None:
    """Write a building sheet of DESIGN: schematic, parts, readings for each step, a template in true size.

    For example: photodrome sheet poppy --light 3klx --out poppy.html
    """
    from agents.design.spec import read_design
    from agents.text.shipped import find_document
    from arena.reports.building_page import building_page
    from arena.reports.html_page import write_page

    spec = read_design(design)
    check_report(out, [find_document(design, "design")])
    with telling_of_stop(out), progress("measuring copies"):
        write_page(building_page(spec, light, kind), out)
    tell_report(out)
