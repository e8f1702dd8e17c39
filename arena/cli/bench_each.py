"""The bench sheet of a design in several kinds of light, one after the other."""

from collections.abc import Sequence
from typing import Any

from agents.design.spec import Design
from agents.drawer.contents import Drawer
from agents.testbench.bench_figures import bench
from agents.testbench.diagnosis import full_diagnosis
from agents.testbench.eye_tables import table_notes
from agents.testbench.working_air import Range, in_celsius, working_air
from arena.cli.asked_lights import AskedLights
from arena.cli.bench_and_run_report import print_bench
from arena.cli.cure_report import print_diagnosis
from arena.cli.panel_report import panel_dict, panel_lines
from arena.cli.printed_tables import print_lines
from arena.cli.terminal import print_json, progress
from arena.reports.bench_words import air_sentences


def bench_each(
    design: Design,
    word: str,
    groups: Sequence[AskedLights],
    has_cures: bool,
    to_json: bool,
    air: float,
    between: Range,
    drawer: Drawer | None = None,
) -> None:
    """Measure a design in each kind of light, and print the sheets; the command line calls it ``word``.

    In ``air`` [K], and with the range of air ``between`` two temperatures [K] in which it works. Cures keep
    to a ``drawer``, if there is one.
    """
    sheets = []
    with progress("measuring"):
        for one in groups:
            ends = one.lights[0], one.lights[-1]
            found = full_diagnosis(design, ends, one.kind, air, drawer) if has_cures else None
            airs = [working_air(design, light, one.kind, between, air) for light in one.lights]
            sheets.append((one, bench(design, one.lights, one.kind, air), airs, found))
    if to_json:
        told: list[dict[str, Any]] = []
        for one, points, airs, found in sheets:
            said = {"reports": [], "whole_design": None} if found is None else found.as_dicts()
            told.append(
                {
                    "light_kind": one.kind,
                    "places": list(one.places),
                    "notes": list(table_notes(design, one.lights)),
                    "points": [
                        {**point.as_dict(), "works_in_degC": in_celsius(works)}
                        for point, works in zip(points, airs, strict=True)
                    ],
                    "diagnosis": said["reports"],
                    "whole_design": said["whole_design"],
                }
            )
        print_json({"design": design.name, "panel": panel_dict(design.panel), "by_kind": told, "files": []})
        return
    for number, (one, points, airs, found) in enumerate(sheets):
        about = design.about if number == 0 else f"in light of kind {one.kind}"
        print_bench(design.name, about, points, table_notes(design, one.lights), one.lines())
        print_lines(air_sentences(points, airs, between))
        if found is not None:
            print_diagnosis(found, f"photodrome bench {word}{one.options}")
    print_lines(panel_lines(design.panel))
