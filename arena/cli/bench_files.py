"""What the command bench writes besides a page: a table and a plot of everything against light."""

from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING

from arena.cli.output_files import check_picture_name, spare_inputs

if TYPE_CHECKING:
    from agents.design.spec import Design


def check_extras(table: Path | None, plot: Path | None, others: Iterable[Path | None]) -> tuple[Path, ...]:
    """Refuse places where table or plot cannot be written; ``others`` are files that they must not be.

    Returns those that were asked for. Raises OptionError and OutputError.
    """
    from agents.errors import OptionError
    from replays.format.whole_files import check_writable

    asked = tuple(path for path in (table, plot) if path is not None)
    taken = {path.resolve() for path in others if path is not None}
    for path in asked:
        if path.resolve() in taken:
            raise OptionError(f"{path}: is another file of this very command; give each a place of its own")
        taken.add(path.resolve())
        spare_inputs(path, [one for one in others if one is not None])
        check_writable(path)
    if plot is not None:
        check_picture_name(plot)
    return asked


def write_extras(design: "Design", kind: str, table: Path | None, plot: Path | None) -> None:
    """Write the table, and draw the plot, of a design against a ``kind`` of light."""
    if table is None and plot is None:
        return
    from arena.reports.light_table import light_table, table_csv, table_points
    from replays.format.whole_files import whole_file, write_whole

    points = table_points(design, kind)
    if table is not None:
        write_whole(table, table_csv(light_table(design, points)).encode())
    if plot is not None:
        from arena.reports.bench_plots import WIDTH
        from arena.reports.plot_sheet import plot_sheet
        from arena.reports.pulse_plots import RHYTHM_HEIGHT, draw_rhythm

        with plot_sheet(WIDTH, RHYTHM_HEIGHT) as sheet, whole_file(plot) as stream:
            draw_rhythm(sheet, points)
            sheet.figure.savefig(stream, format="png", dpi=200, facecolor="white")
