"""What a command refuses to write to."""

import os
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


def check_papers(place: Path | None, results: Path) -> None:
    """Refuse a folder of papers that cannot be, or that holds something else under their name; none is fine.

    ``results`` is the folder of the race itself, in which nothing lies that it did not put there.
    """
    from agents.errors import OptionError, OutputError

    if place is None:
        return
    from arena.reports.html_page import PAPERS, is_ours
    from replays.format.whole_files import check_writable

    there = next(one for one in (place.absolute(), *place.absolute().parents) if os.path.lexists(one))
    if not there.is_dir():
        raise OutputError(f"{there}: is no folder; choose another place for the papers")
    if place.resolve() == results.resolve():
        raise OptionError(f"{place}: is the folder of the race itself; give the papers a folder of their own")
    paper = place / PAPERS
    if paper.is_symlink() or (paper.exists() and not is_ours(paper)):
        raise OptionError(f"{paper}: is no paper of a race; move it away, or choose another folder")
    check_writable(there / f"{PAPERS}.new")
