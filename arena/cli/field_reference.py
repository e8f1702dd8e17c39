"""The reference of all fields, ``configs/FIELDS.md``: ``python -m arena.cli.field_reference``."""

from collections.abc import Callable
from pathlib import Path

from pydantic import BaseModel

from agents.design.spec import Design
from agents.drawer.contents import BORROWING, OWN_FIELDS, Drawer
from agents.text.shapes import field_table
from agents.text.shipped import configs_folder
from agents.text.spec_reading import VERSIONS
from arena.races.race_form import RaceForm
from arena.scene.spec import ArenaSpec
from arena.studies.plans.plan_form import PlanForm
from arena.studies.trial_scores import SCORES

_HEAD = """\
# Every field of a design, of an arena, of a study, of a race and of a drawer

Made by `python -m arena.cli.field_reference` from the models themselves. A value is written with its unit:
`2200 uF`, `60 mm`, `20 klx`, `15 deg`; resistances and capacitances also as codes of IEC 60062: `33k`, `4k7`,
`2m2`. A bare number is refused where a unit is needed. A field that is left out takes its default; `required`
has none, and `none` means that the part is left out. Defaults are starting values, invented or from general
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

_STUDY = """
A study tries values of designs and arenas against one another. A setting is one choice of everything that is
varied, a trial one run of a setting. Repeat for repeat all settings have the same luck: the same starts, the
same draws of part tolerances and jitter, so that they are compared in pairs. Lists are written as lists of
YAML or with commas. An arena or a design is named by the name of a shipped one, or by a path from the folder
of the plan or else from the working folder.
"""

_SCORES = """
These are the scores; a contact is an episode, from getting into touch to two pulses without:

| score | better | what it is |
|---|---|---|"""

_VARY = """
Under `vary` each key is the path of a value, and what stands there says which values it takes:

| values | what is tried |
|---|---|
| `15 mm, 20 mm, 25 mm` | these; also as a list of YAML |
| `E12 10k..100k` | the preferred values of E6, E12 or E24 (IEC 60063), both ends included |
| `20 mm..80 mm in 4` | so many, from end to end, in even steps |
| `1 klx..9 klx in 5 by ratio` | so many, each the same multiple of the one before |
| `20 mm..80 mm` | any between the ends, where settings are drawn; all of them for a whole number |
| `1 mF..10 mF by ratio` | any, with every ratio alike, where settings are drawn |

A path is `design.` or `arena.` and the field as it stands in the tables above, or `walkers`:

* `design.both.latch`, `design.left.eye.tape`, `design.storage.capacitance`: a value of every design of the
  study; `both` sets either side. A tolerance in percent stays the same share of a value that is varied.
* `design.spread.both.latch.uniform`: a tolerance itself: `uniform`, `normal` or `bound`, as in a design.
* `arena.sun.elevation`, `arena.lamps.grow lamp.intensity`, `arena.starts.places.1.heading`: a value of every
  arena; an item of a list is named by its name, or by its position from 1.
* `arena.shades.squash leaf.x` and `.y`: the middle of the upright rectangle round a thing with a place or an
  outline; the thing is moved there. `.size_x` and `.size_y`: width and depth of that rectangle; the thing is
  stretched about its middle.
* `walkers`: how many copies of the design share the arena in a trial; without it the key `walkers` says so.

A `grid` tries every combination. `random` draws each value by itself; `latin hypercube` draws so that each of
as many equal parts of a range as there are settings holds one; `sobol` fills all ranges evenly together, best
with a power of two of settings. A drawn setting takes single values, arenas and designs alike often.

`marks` are lines to be drawn into plots: `design.both.eye.aside: { wheels: 21 mm }`. For example:

```yaml
photodrome: study 1
name: eyes and leaf
about: how far apart should the eyes be for a leaf of this width?
arenas: [leaf-shade]
designs: [poppy]
vary:
  design.both.eye.aside: 15 mm..35 mm in 5
  design.both.latch: E6 4k7..47k
sampling: grid
repeats: 50
lasts: 20 min
scores: [reached, directness]
marks:
  design.both.eye.aside: { wheels: 21 mm }
```
"""

_RACE = """
A race names its courses, and may name its entries: folders, patterns like `walkers/*.yaml`, or files, from
the folder of the race's own file. With `photodrome race FOLDER --course RACE` the command names them instead.
`format` is one of these:

| format | who meets whom |
|---|---|
| `time trial` | each alone, all from the same start place in a round, and in turn from all of them |
| `together` | as many as there is room for share the floor; the others meet in further heats of the round |
| `heats and final` | the same, and the strongest meet in a final |
| `pairs` | everybody meets everybody else, two on the floor |
| `relay` | a time trial in each of several arenas, with points |

`by` says what decides: `arrival` (the first at a goal; then the share of the way that was gained),
`most light` (on the panel, in the mean), or `last moving` (who moves longest, for which `dims` lets the light
fall in stages: `100 %, 50 %, 25 %`; every stage is a run of its own, from the same start places and with the
same luck, and whoever does not move in one is out). Who never moved comes last whatever decides. For example:

```yaml
photodrome: race 1
name: spring race
entries: walkers
format: heats and final
courses:
  - {arena: sprint-to-the-lamp, by: arrival}
rules:
  storage: 4700 uF
  values:
    both.latch: E12 1k..47k
  cost: 9
  prices:
    storage.capacitance: {1000 uF: 0.40, 2200 uF: 0.60, 4700 uF: 0.90}
    both.motor.resistance: {28 ohm: 2.50}
```

Prices are plain numbers, in whatever money. Only what stands under `prices` is counted; a value there that
has no price cannot be bought. With `drawer: potting-shed` every part must be one of that drawer, as far as it
has such parts at all, and there must be enough of them for one walker.
"""

_DRAWER = """
A drawer lists the parts that are there. A resistor or capacitor says one of `value`, `code` and `rings`:
`4k7`, `472`, `yellow violet red gold`; three or four figures count their noughts last, in ohms or picofarads.
Put figures between quotes. Eyes, transistors, motors, tyres and panels take the fields of a design too, and
what they leave out stays as the design has it. All prices are in one currency, by the letters of ISO 4217.
"""


def reference() -> str:
    """Return the text of the reference."""
    design = _table(Design, lambda key: not key.startswith("right") and key != "left")
    return "\n".join(
        [
            _HEAD,
            f"## Design (`photodrome: design {VERSIONS['design']}`)",
            _SIDES,
            design.replace("| `left.", "| `both.").replace(" | left ", " | "),
            _TABLE,
            f"## Arena (`photodrome: arena {VERSIONS['arena']}`)",
            "",
            _table(ArenaSpec, lambda key: True),
            "",
            f"## Study (`photodrome: study {VERSIONS['study']}`)",
            _STUDY,
            _table(PlanForm, lambda key: True),
            _SCORES,
            *(
                f"| `{score.name}` | {'more' if score.more_is_better else 'less'} | {score.definition} |"
                for score in SCORES.values()
            ),
            _VARY,
            f"## Race (`photodrome: race {VERSIONS['race']}`)",
            _RACE,
            _table(RaceForm, lambda key: True),
            "",
            f"## Drawer (`photodrome: drawer {VERSIONS['drawer']}`)",
            _DRAWER,
            _table(Drawer, _is_of_drawers),
        ]
    )


def _is_of_drawers(key: str) -> bool:
    """Whether a drawer's field is none that a part has in a design too."""
    section, _, field = key.partition("[].")
    return section not in BORROWING or not field or field in OWN_FIELDS


def _table(model: type[BaseModel], keeps: Callable[[str], bool]) -> str:
    kept = [row for row in field_table(model) if keeps(row.key)]
    # a plan has no values that a plot could be drawn against
    has_titles = any(row.title for row in kept)
    heads = ["field", *(["in words"] if has_titles else []), "default", "range", "what it is"]
    rows = [f"| {' | '.join(heads)} |", "|---" * len(heads) + "|"]
    for row in kept:
        titles = [row.title] if has_titles else []
        cells = [f"`{row.key}`", *titles, row.default, row.range, row.description]
        rows.append(f"| {' | '.join(cells)} |")
    return "\n".join(rows)


if __name__ == "__main__":
    Path(configs_folder() / "FIELDS.md").write_text(reference(), encoding="utf-8")
