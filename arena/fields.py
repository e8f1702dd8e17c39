"""The reference of all fields of designs and arenas, ``configs/FIELDS.md``: ``python -m arena.fields``."""

from collections.abc import Callable
from pathlib import Path

from pydantic import BaseModel

from agents.design import Design
from agents.documents import VERSIONS, field_table
from agents.shipped import configs_folder
from arena.spec import ArenaSpec

_HEAD = """\
# Every field of a design and of an arena

Made by `python -m arena.fields` from the models themselves. A value is written with its unit: `2200 uF`,
`60 mm`, `20 klx`, `15 deg`; resistances and capacitances also as codes of IEC 60062: `33k`, `4k7`, `2m2`.
A bare number is refused where a unit is needed. A field that is left out takes its default; `required` has
none, and `none` means that the part is left out. Defaults are starting values, invented or from general
knowledge; what you measure on your bench replaces them.

Points are written as `x y` with one unit at the end, several of them divided by strokes:
`0 0 / 2.4 0 / 2.4 1.4 m`.
"""

_SIDES = """
What stands under `both` holds for the left and the right side; `left` and `right` may each say it over.
`spread` takes a value's path, like `both.latch`, and how far parts stray from it: `normal: 5 %` (a standard
deviation, cut off at `bound`, three of them if left out) or `uniform: 20 %` (a half width).
"""

_TABLE = """
An eye that you have measured is given by a table of at least two rows, in place of `dark_trigger`, `slope`
and `knee_light`: the light on the bare eye, rising from row to row, and the voltage at which it flashed,
which never falls. Between the rows the trigger is interpolated, outside them it stays. For example:

```yaml
photodrome: design 1
name: radish
both:
  eye:
    table:
      - { light: 0 lx, trigger: 2.20 V }
      - { light: 300 lx, trigger: 2.55 V }
      - { light: 3 klx, trigger: 3.10 V }
      - { light: 30 klx, trigger: 3.75 V }
left:
  eye:
    tape: 80 %
```
"""


def reference() -> str:
    """Return the text of the reference."""
    design = _table(Design, lambda key: not key.startswith("right") and key != "left")
    return "\n".join(
        [
            _HEAD,
            f"## Design (`photodrome: design {VERSIONS['design']}`)",
            _SIDES,
            design.replace("| `left.", "| `both."),
            _TABLE,
            f"## Arena (`photodrome: arena {VERSIONS['arena']}`)",
            "",
            _table(ArenaSpec, lambda key: True),
            "",
        ]
    )


def _table(model: type[BaseModel], keeps: Callable[[str], bool]) -> str:
    rows = ["| field | default | range | what it is |", "|---|---|---|---|"]
    for row in field_table(model):
        if keeps(row.key):
            rows.append(f"| `{row.key}` | {row.default} | {row.range} | {row.description} |")
    return "\n".join(rows)


if __name__ == "__main__":
    Path(configs_folder() / "FIELDS.md").write_text(reference(), encoding="utf-8")
