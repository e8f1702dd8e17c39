"""Plans for the tests of studies."""

import math
from pathlib import Path
from typing import Any

import pytest

from agents.errors import SpecError
from agents.text.shipped import find_document
from arena.studies.plans.study import Study, parse_study
from arena.studies.running.trials import chunk_size

BASE = """photodrome: study 1
name: a study
arenas: [slalom, corner-trap]
designs: [poppy, cress]
vary:
  design.both.latch: 4k7, 10k
  arena.lamps.grow lamp.intensity: 1000 cd..9000 cd in 3
  design.both.eye.aside: [20 mm, 25 mm, 30 mm, 35 mm]
repeats: 10
lasts: 10 min
scores: [escape, reached]
marks:
  design.both.eye.aside: { wheels: 21 mm }
"""

DRAWN = """photodrome: study 1
name: a drawn study
arenas: slalom, corner-trap
designs: poppy
vary:
  design.storage.capacitance: 1 mF..5 mF by ratio
  design.both.latch: E12 4k7..47k
  arena.walls.1.height: 20 mm..60 mm
sampling: {sampling}
settings: {settings}
seed: {seed}
"""


def faults_of(text: str, folder: str | Path = ".", **options: Any) -> list[tuple[int, int, str, str, str]]:
    with pytest.raises(SpecError) as caught:
        parse_study(text, "plan", folder, **options)
    return [(one.line, one.column, one.key, one.got, one.near) for one in caught.value.faults]


def with_vary(*lines: str, more: str = "") -> str:
    vary = "".join(f"  {line}\n" for line in lines)
    return f"photodrome: study 1\nname: a study\narenas: slalom\ndesigns: poppy\n{more}vary:\n{vary}"


HEAD = "photodrome: study 1\nname: x\n"


def write(path: Path, text: str) -> Path:
    path.parent.mkdir(exist_ok=True)
    path.write_bytes(text.encode())
    return path


OWN = find_document("poppy", "design").read_text(encoding="utf-8").replace("name: poppy", "name: own")
ROOM = find_document("slalom", "arena").read_text(encoding="utf-8").replace("name: slalom", "name: room")


def chunk_count(study: Study) -> int:
    """How many chunks a study has; the last one may be shorter."""
    return math.ceil(study.trials / chunk_size(study))
