"""Writing a design with a cure in it, all that its author wrote about the rest being kept."""

from pathlib import Path
from typing import Any

from agents.design.rewriting import rewrite_design
from agents.design.spec import Design, parse_design
from agents.errors import OptionError, WorkError
from agents.testbench.diagnosis import Diagnosis
from agents.text.marked_yaml import read_text
from agents.text.shipped import find_document
from arena.cli.output_files import spare_inputs
from replays.format.whole_files import check_writable, write_whole


def check_place(design: str, out: Path | None, number: int | None, replaces: bool, has_cures: bool) -> None:
    """Refuse options that do not go together, and a place where something stands that is to stay."""
    if number is None:
        for name, given in (("--out", out is not None), ("--replace", replaces)):
            if given:
                raise OptionError(f"{name} without --apply; say which cure, like --apply 1 --out better.yaml")
        return
    if out is None:
        raise OptionError("--apply without --out; say where the design goes, like --out better.yaml")
    if not has_cures:
        raise OptionError("--apply beside --no-cures; give one of the two")
    if not replaces:
        spare_inputs(out, (find_document(design, "design"),))
        if out.exists():
            raise OptionError(f"{out}: is there already; write to another place, or add --replace")
    check_writable(out)


def write_cured(design: str, found: Diagnosis, number: int, out: Path) -> Design:
    """Write the design with offer ``number`` made, named after its file; returns it as read back."""
    count = len(found.offers)
    if not 1 <= number <= count:
        there = {0: "there is none", 1: "there is 1 alone"}.get(count, f"there are 1 to {count}")
        raise OptionError(f"--apply: got {number}, expected the number of a cure on this sheet; {there}")
    path = find_document(design, "design")
    text = read_text(path, str(path))
    values: dict[str, Any] = {**found.offers[number - 1], "name": out.stem}
    written = rewrite_design(text, values)
    read = parse_design(written, str(out))
    if read != parse_design(text, str(path)).with_values(values):
        raise WorkError(f"{path}: this file cannot be changed like that; change it by hand")
    write_whole(out, written.encode())
    return read
