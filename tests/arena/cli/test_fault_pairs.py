"""No fault of a file hides another: any two that have nothing to do with each other are told together."""

from itertools import combinations
from pathlib import Path

import pytest

from agents.errors import Fault, SpecError
from arena.cli.checking import check_file

DESIGN = """\
photodrome: design 1
name: borage
panel:
  label:
    - {light: 1 klx, open_circuit: 4 V, short_circuit: 40 uA, best_voltage: 3.2 V, best_current: 33 uA}
    - {light: 10 klx, open_circuit: 4.5 V, short_circuit: 400 uA, best_voltage: 3.6 V, best_current: 330 uA}
storage: {capacitance: 2200 uF, leak: 1 Mohm}
both:
  series: 47k
  eye:
    tape: 50 %
    table:
      - {light: 0 lx, trigger: 2 V}
      - {light: 1 klx, trigger: 3 V}
  whisker: {length: 50 mm}
  pnp: {reverse_gain: 5}
body: {mass: 14 g, radius: 26 mm}
spread:
  both.latch: {normal: 5 %}
  storage.leak: {uniform: 5 %}
  both.motor.inertia: {uniform: 5 %}
"""
ARENA = """\
photodrome: arena 1
name: shed
floor: {outline: 0 0 / 2 0 / 2 1 / 0 1 m, rim: 40 mm}
walls:
  - {name: plank, line: 0.5 0.2 / 0.5 0.4 m, height: 50 mm}
  - {name: tray, outline: 0.8 0.2 / 1.0 0.2 / 1.0 0.4 / 0.8 0.4 m}
  - {name: pot, outline: 0.8 0.6 / 1.0 0.6 / 1.0 0.8 / 0.8 0.8 m}
shades:
  - {name: leaf, outline: 1.2 0.2 / 1.4 0.2 / 1.4 0.4 m, height: 0.3 m, passes: 30 %}
lamps:
  - {name: desk lamp, place: 0.2 0.2 m, height: 0.4 m, light: white-led, intensity: 90 cd}
  - {name: spot, place: 1.2 0.2 m, height: 0.4 m, light: white-led, flux: 800 lm, beam: 20 deg}
sun: {azimuth: 90 deg, elevation: 30 deg, illuminance: 5 klx}
starts:
  places:
    - {place: 0.1 0.5 m, heading: 0 deg}
    - {place: 0.1 0.8 m}
goals:
  - {name: finish, centre: 1.8 0.5 m, radius: 100 mm}
  - {name: bay, outline: 1.5 0.7 / 1.6 0.7 / 1.6 0.8 m}
gates:
  - {name: middle, line: 1.1 0 / 1.1 1 m}
lasts: 20 min
cell: 10 mm
"""
DRAWER = """\
photodrome: drawer 1
name: shed
resistors:
  - {code: 4k7, count: 20, price: 0.1 EUR}
  - {rings: yellow violet red gold, count: 2, measured: [4k6, 4k8]}
  - {name: odd, value: 33k}
capacitors:
  - {code: "104", price: 0.2 EUR}
tapes:
  - {name: grey, transmission: 30 %}
eyes:
  - {name: red, dark_trigger: 2.2 V, count: 2, measured: [2.1 V, 2.3 V], price: 1 EUR}
motors:
  - {name: round, resistance: 28 ohm}
panels:
  - name: cell
    label: [{light: 1 klx, open_circuit: 4 V, short_circuit: 40 uA, best_voltage: 3.2 V, best_current: 33 uA}]
"""
PLAN = """\
photodrome: study 1
name: question
arenas: [./shed.yaml, leaf-shade]
designs: [./borage.yaml, poppy]
vary:
  design.both.latch: 10k, 22k
  design.both.eye.aside: 20 mm..40 mm in 3
  arena.cell: 10 mm, 20 mm
repeats: 10
walkers: 2
seed: 4
scores: [reached, held]
marks: {design.both.eye.aside: {wheels: 21 mm}}
"""
RACE = """\
photodrome: race 1
name: Friday
format: relay
courses:
  - {arena: ./shed.yaml, by: arrival, lasts: 10 min}
  - {arena: leaf-shade, by: last moving}
rounds: 4
points: 3, 2, 1
rules:
  storage: 4700 uF
  drawer: ./drawer.yaml
  values: {both.latch: E12 1k..47k, both.series: 47k}
  prices:
    both.latch: {10k: "0.1"}
"""
FILES = {"borage": DESIGN, "shed": ARENA, "drawer": DRAWER, "plan": PLAN, "race": RACE}

# Texts of each file with what makes a fault of them; none has to do with another.
WRONG = {
    "borage": [
        ("design 1", "desing 1"),
        ("name: borage", f"name: {'b' * 41}"),
        ("name: borage\n", "name: borage\nname: bristly\n"),
        ("best_voltage: 3.2 V", "best_voltage: 1 V"),
        ("short_circuit: 400 uA", "short_circuit: 400 V"),
        ("2200 uF", "2 uF"),
        ("leak: 1 Mohm", "leak: 1"),
        ("both:\n", "both:\n  colour: red\n"),
        ("series: 47k", "series: 47"),
        ("tape: 50 %", "tape: 500 %"),
        ("trigger: 3 V", "trigger: 1 V"),
        ("length: 50 mm", "length: 3 mm"),
        ("reverse_gain: 5", "reverse_gain: [5]"),
        ("mass: 14 g", "mass: 5"),
        ("radius: 26 mm", "radius: 26 mm, outline: 0 0 / 1 0 / 1 1 cm"),
        ("both.latch: {normal: 5 %}", "both.latch: {normal: 5 mV}"),
        ("both.motor.inertia", "both.motor.inertai"),
        ("spread:\n", "spread:\n  right.latch: 5 %\n"),
    ],
    "shed": [
        ("arena 1", "arenas 1"),
        ("name: shed", "name: [shed]"),
        ("rim: 40 mm", "rim: 40"),
        ("0.5 0.2 / 0.5 0.4 m", "0.5 0.2 / 0.5 0.4 / 0.6 0.3 / 0.4 0.3 m"),
        ("height: 50 mm", "hight: 50 mm"),
        ("name: spot", "name: desk lamp"),
        ("0.8 0.2 / 1.0 0.2 / 1.0 0.4", "0.8 0.2 / 1.0 0.4 / 1.0 0.2"),
        ("1.2 0.2 / 1.4 0.2 / 1.4 0.4 m", "5 0.2 / 5.4 0.2 / 5.4 0.4 m"),
        ("passes: 30 %", "passes: 30"),
        ("intensity: 90 cd", "intensity: 90 cd, aim: 1 0.5 m"),
        ("flux: 800 lm", "flux: 800 lm, intensity: 1 cd"),
        ("elevation: 30 deg", "elevation: 30"),
        ("0.1 0.5 m", "0.9 0.7 m"),
        ("0.1 0.8 m", "7 7 m"),
        ("heading: 0 deg", "heading: north"),
        ("1.8 0.5 m", "1.8 5 m"),
        ("1.5 0.7 / 1.6 0.7 / 1.6 0.8 m", "1.5 0.7 / 1.5 0.7 / 1.6 0.8 m"),
        ("1.1 0 / 1.1 1 m", "1.1 4 / 1.1 5 m"),
        ("lasts: 20 min", "lasts: 5"),
        ("cell: 10 mm", "cell: 10 mm\ncells: 3"),
    ],
    "drawer": [
        ("drawer 1", "drawer one"),
        ("code: 4k7", "code: 4k7k"),
        ("rings: yellow violet red gold", "rings: yellow"),
        ("measured: [4k6, 4k8]", "measured: [4k6, 4k8, 4]"),
        ("value: 33k", "value: 33k, code: 33k"),
        ("0.2 EUR", "0.2 USD"),
        ("count: 2, measured: [2.1", "count: 1, measured: [2.1"),
        ("transmission: 30 %", "transmision: 30 %"),
        ("name: round", "name: grey"),
        ("resistance: 28 ohm", "resistance: 28 V"),
        ("name: red", f"name: {'r' * 50}"),
        ("best_current: 33 uA", "best_current: 50 uA"),
    ],
    "plan": [
        ("study 1", "stduy 1"),
        ("name: question", "name: ''"),
        ("leaf-shade", "leaf-shde"),
        (", poppy", f", poppy, ./{'x' * 300}.yaml"),
        ("]\ndesigns", ", ., /dev/null]\ndesigns"),
        ("vary:\n", "vary:\n  design.both.latsh: 1k\n"),
        ("10k, 22k", "10k, 22"),
        ("10 mm, 20 mm", "10 mm, 0 mm"),
        ("repeats: 10", "repeats: -3"),
        ("walkers: 2", "walkers: two"),
        ("seed: 4", "sede: 4"),
        ("held", "hold"),
        ("wheels: 21 mm", "wheels: 21"),
        ("marks: {", "marks: {design.both.foo: {a: 1 mm}, "),
        ("seed: 4", "seed: 4\nsettings: 9"),
    ],
    "race": [
        ("race 1", "rcae 1"),
        ("name: Friday", "name: [Friday]"),
        ("lasts: 10 min", "lasts: 10"),
        ("by: arrival", "by: arival"),
        ("leaf-shade", f"./{'x' * 300}.yaml"),
        ("by: last moving", "by: last moving, dim: 50 %"),
        ("rounds: 4", "rounds: four"),
        ("points: 3, 2, 1", "points: 3, two, 1"),
        ("storage: 4700 uF", "storage: 4700"),
        ("both.series: 47k", "both.sries: 47k"),
        ("E12 1k..47k", "E12 47k..1k"),
        ('10k: "0.1"', "10k: much"),
        ("format: relay", "formta: relay"),
    ],
}
# Faults of files that a file names are told with its own.
OF_NAMED = [("plan", "borage"), ("plan", "shed"), ("race", "shed"), ("race", "drawer")]

Told = set[tuple[str, str, str]]


def told(changes: list[tuple[str, str, str]], name: str) -> Told:
    """The faults of a file, as (file, key, what was found), where files have been changed."""
    texts = dict(FILES)
    for file, old, new in changes:
        assert texts[file].count(old) == 1, (file, old)
        texts[file] = texts[file].replace(old, new)
    for file, text in texts.items():
        Path(f"{file}.yaml").write_text(text, encoding="utf-8")
    faults: list[Fault] = []
    try:
        check_file(f"{name}.yaml")
    except SpecError as error:
        faults = error.faults
    return {(Path(fault.file).name, fault.key, fault.got) for fault in faults}


@pytest.fixture(autouse=True)
def _own_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def test_the_files_are_right_as_they_are() -> None:
    for name in FILES:
        assert told([], name) == set()


@pytest.mark.parametrize("name", WRONG)
def test_any_two_faults_of_a_file_are_told_together(name: str) -> None:
    changes = [(name, old, new) for old, new in WRONG[name]]
    alone = {change: told([change], name) for change in changes}
    assert all(alone.values()), [change for change, found in alone.items() if not found]
    hidden = []
    for one, other in combinations(changes, 2):
        if one[1] in other[1] or other[1] in one[1]:
            continue
        both = told([one, other], name)
        if not both >= alone[one] | alone[other]:
            hidden.append((one[2], other[2], (alone[one] | alone[other]) - both))
    assert hidden == []


@pytest.mark.parametrize(("name", "named"), OF_NAMED)
def test_faults_of_a_file_and_of_one_that_it_names_are_told_together(name: str, named: str) -> None:
    own = [(name, old, new) for old, new in WRONG[name]]
    others = [(named, old, new) for old, new in WRONG[named]]
    hidden = []
    # each fault of either with one of the other file
    for number in range(max(len(own), len(others))):
        pair = [own[number % len(own)], others[number % len(others)]]
        both = told(pair, name)
        for change in pair:
            if not both >= told([change], name):
                hidden.append((change[2], pair, told([change], name) - both))
    assert hidden == []
