"""What a command refuses to write to."""

from collections.abc import Iterable
from pathlib import Path


def spare_inputs(out: Path, inputs: Iterable[str | Path]) -> None:
    """Refuse to write over what is read."""
    from agents.errors import OptionError

    for name in inputs:
        try:
            same = out.samefile(name)
        except OSError:
            continue
        if same:
            raise OptionError(f"{out}: is an input of this very command; write to another place")


def check_picture_name(out: Path) -> None:
    """Refuse a picture that is no PNG."""
    from agents.errors import OptionError

    if out.suffix.lower() != ".png":
        raise OptionError(f"{out}: a picture is a PNG; expected a name that ends in .png")


def check_report(report: Path | None, inputs: Iterable[str | Path]) -> None:
    """Refuse a report that could not be written, that is no page, or that is an input; none is fine."""
    if report is None:
        return
    from arena.reports.html_page import check_page_name
    from replays.format.whole_files import check_writable

    check_page_name(report)
    spare_inputs(report, inputs)
    check_writable(report)
