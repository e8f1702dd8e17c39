"""The command fit: what the readings of a build tell of its parts."""

from pathlib import Path

import click

from arena.cli.options import as_json
from arena.cli.output_files import spare_inputs
from arena.cli.terminal import print_json, printable, progress


@click.command()
@click.argument("design")
@click.argument("readings", type=click.Path(path_type=Path))
@click.option(
    "--out",
    "-o",
    type=click.Path(dir_okay=False, path_type=Path),
    help="YAML file for the design with the fitted values, called after it; remarks stay.",
)
@as_json
def fit(design: str, readings: Path, out: Path | None, to_json: bool) -> None:
    """Learn the parts of a build of DESIGN from the table READINGS of what a meter and a clock showed.

    The first line of the table names its columns: any of light, kind, side, pressed, trigger, releases at,
    time between pulses, turn, stall current and stall voltage, with commas, semicolons or tabs between.

    For example: photodrome fit poppy readings.csv --out mine.yaml
    """
    from agents.design.rewriting import rewrite_design
    from agents.design.spec import read_design
    from agents.errors import StoppedError, WorkError
    from agents.fitting.fit import fit_design
    from agents.fitting.next_reading import next_readings
    from agents.fitting.readings import read_readings
    from agents.text.marked_yaml import read_text
    from agents.text.shipped import find_document
    from arena.cli.fit_report import fit_dict, print_fit
    from replays.format.whole_files import check_writable, write_whole

    spec, table = read_design(design), read_readings(readings)
    source = find_document(design, "design")
    if out is not None:
        check_writable(out)
        spare_inputs(out, [source, readings])
    try:
        with progress("fitting"):
            found = fit_design(spec, table)
            coming = next_readings(found) if found.suits else []
    except KeyboardInterrupt:
        raise StoppedError("stopped; nothing was written") from None
    written = out is not None and found.suits and bool(found.fitted_values)
    if out is not None and written:
        text = rewrite_design(read_text(source, str(source)), {**found.fitted_values, "name": out.stem})
        write_whole(out, text.encode())
    if to_json:
        print_json({**fit_dict(found, coming), "files": [str(out)] if written else []})
    else:
        print_fit(found, coming)
        if written:
            click.echo(f"design: {printable(str(out))}")
    if not found.suits:
        raise WorkError(
            "these readings are not of a build of this design; "
            + ("nothing was written; " if out is not None else "")
            + "look at units, columns and the design's values"
        )
