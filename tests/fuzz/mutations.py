"""Making wrong files out of right ones, with a mind to what stands in them."""

import random
from collections.abc import Iterator, Mapping
from functools import cache
from typing import Any

import yaml
from pydantic import BaseModel

from agents.text.quantities import Fraction, Number, Quantity
from agents.text.readers import Word
from agents.text.shapes import key_paths, shape_at
from agents.text.units import DIMENSIONS

Tree = Any
Place = tuple[str | int, ...]

WORDS = (
    *(
        "",
        " ",
        "none",
        "~",
        "null",
        "on",
        "010",
        "0",
        "-0",
        "-1",
        "1",
        "1e999",
        "1e-999",
        "nan",
        "inf",
        "-inf",
    ),
    *("9223372036854775807", "9223372036854775808", "9" * 60, "9" * 4301, "1_000", "٣", "１ V", "1e400 ohm"),
    *("E12 1k..47k", f"E{'9' * 4301} 1k..2k", "1..2 in 5 by ratio", "1 mm..2 mm", "10k, 22k", "1 V, 2", ".."),
    *("0 0 / 0 0 m", "0 0 / 1 0 / 1 1 m", "1e3 1e3 m", "0.1 0.1 m", "0 0 m" + " " * 3000, "1 " * 300 + "m"),
    *("{}", "[]", "[a, b]", "{a: b}", "*a", "&a", "!!int 1", "%x", "@", "`", "#", "- ", "? ", ": ", "<<"),
    *(
        "\t",
        "a\tb",
        "a\nb",
        "\x1b[31mred",
        "\x07",
        "a\u202eb",
        "\u2028",
        "\ufeff",
        "é" * 41,
        "\U0001f33b",
        "x" * 5000,
    ),
    *(
        "=1+1",
        "+cmd",
        "<b>bold</b>",
        "&amp;<script>",
        "a/b",
        "..",
        "../../../tmp/x",
        "CON",
        "a'b\"c",
        "{{ 7 * 7 }}",
    ),
)
NAMES = (
    *(
        "poppy",
        "lentil",
        "cress",
        "thistle-spins",
        "leaf-shade",
        "slalom",
        "open-bench",
        "potting-shed",
        "sprint",
    ),
    *(
        ".",
        "..",
        "/",
        "/dev/null",
        "/dev/zero",
        "./own.yaml",
        "./nowhere.yaml",
        "own.yaml",
        "*.yaml",
        "**",
        "~",
    ),
    *(
        "./" + "x" * 300 + ".yaml",
        "./a\x00b.yaml",
        "poppy, lentil",
        "poppy.yaml",
        "",
        " poppy ",
        "POPPY",
        "popy",
    ),
)


@cache
def _known(model: type[BaseModel]) -> tuple[str, ...]:
    return tuple(key_paths(model))


def places(tree: Tree, place: Place = ()) -> Iterator[Place]:
    """Yield every place of a tree but its root."""
    items = tree.items() if isinstance(tree, dict) else enumerate(tree) if isinstance(tree, list) else ()
    for key, below in items:
        yield (*place, key)
        yield from places(below, (*place, key))


def at(tree: Tree, place: Place) -> Tree:
    """What stands at a place."""
    for key in place:
        tree = tree[key]
    return tree


class Mutator:
    """Changes trees and texts at random; ``model`` is what a tree is read into, ``others`` are more trees."""

    def __init__(self, chance: random.Random, model: type[BaseModel], others: list[Tree]) -> None:
        self.chance, self.model, self.others = chance, model, others

    def tree(self, tree: Tree) -> None:
        """Change a tree in one place."""
        where = list(places(tree))
        if not where:
            tree["name"] = self.chance.choice(WORDS)
            return
        place = self.chance.choice(where)
        holder, key = at(tree, place[:-1]), place[-1]
        doings = (self._drop, self._rename, self._rim, self._rim, self._sort, self._word, self._unit)
        doings += (self._name, self._swap, self._many, self._add, self._number)
        self.chance.choice(doings)(tree, place, holder, key)

    def _drop(self, tree: Tree, place: Place, holder: Tree, key: Any) -> None:
        del holder[key]

    def _rename(self, tree: Tree, place: Place, holder: Tree, key: Any) -> None:
        if isinstance(holder, dict):
            spot = self.chance.randrange(len(key)) if key else 0
            beside = [one.rpartition(".")[2] for one in self.chance.sample(_known(self.model), 3)]
            new = self.chance.choice([key[:spot] + key[spot + 1 :], key + "s", key.upper(), *beside])
            holder[new] = holder.pop(key)

    def _rim(self, tree: Tree, place: Place, holder: Tree, key: Any) -> None:
        shape = shape_at(self.model, _both_as_left(place))
        if shape is not None and shape.reader is not None:
            holder[key] = self._at_rim(shape.reader)

    def _at_rim(self, reader: Any) -> str:
        if isinstance(reader, Word):
            return self.chance.choice(reader.choices)
        if not isinstance(reader, Quantity | Number | Fraction):
            return self.chance.choice(WORDS)
        ends = [end for end in (reader.least, reader.most, reader.above, reader.below) if end is not None]
        end = self.chance.choice(ends or [0.0, 1e9])
        factor = self.chance.choice([1.0, 1.0, 1.0, 1.0 + 1e-9, 1.0 - 1e-9, 1.01, 0.99, -1.0, 0.0])
        value = end * factor
        if isinstance(reader, Number) and reader.whole:
            value = int(end) + self.chance.choice([0, 0, 1, -1])
        elif self.chance.random() < 0.3 and len(ends) > 1 and min(ends) > 0.0:
            value = min(ends) * (max(ends) / min(ends)) ** self.chance.random()
        return reader.show(value)

    def _sort(self, tree: Tree, place: Place, holder: Tree, key: Any) -> None:
        held = holder[key]
        holder[key] = self.chance.choice(
            [[], {}, "", [held], {"a": held}, [[held]], {str(key): held}, "word"]
        )

    def _word(self, tree: Tree, place: Place, holder: Tree, key: Any) -> None:
        holder[key] = self.chance.choice(WORDS)

    def _name(self, tree: Tree, place: Place, holder: Tree, key: Any) -> None:
        holder[key] = self.chance.choice(NAMES)

    def _unit(self, tree: Tree, place: Place, holder: Tree, key: Any) -> None:
        if isinstance(holder[key], str):
            number = holder[key].partition(" ")[0]
            spelling = self.chance.choice(list(self.chance.choice(list(DIMENSIONS.values())).spellings))
            holder[key] = self.chance.choice([f"{number} {spelling}", f"{number}{spelling}", number])

    def _number(self, tree: Tree, place: Place, holder: Tree, key: Any) -> None:
        if isinstance(holder[key], str):
            number, gap, unit = holder[key].partition(" ")
            try:
                value = float(number) * 10.0 ** self.chance.uniform(-4.0, 4.0)
            except ValueError:
                return
            holder[key] = f"{value:.4g}{gap}{unit}"

    def _swap(self, tree: Tree, place: Place, holder: Tree, key: Any) -> None:
        other = self.chance.choice(self.others)
        found = [one for one in places(other) if one[-1] == key] or list(places(other))
        if found:
            holder[key] = _copied(at(other, self.chance.choice(found)))

    def _many(self, tree: Tree, place: Place, holder: Tree, key: Any) -> None:
        times = self.chance.choice([1, 1, 2, 5, 20, 500])
        held = holder[key]
        if isinstance(holder, list):
            holder.extend(_copied(held) for _ in range(times))
        elif isinstance(held, dict):
            held.update({f"k{number}": "1" for number in range(times)})

    def _add(self, tree: Tree, place: Place, holder: Tree, key: Any) -> None:
        path = self.chance.choice(_known(self.model))
        shape = shape_at(
            self.model, tuple(0 if one == "[]" else one for one in path.replace("[]", ".[]").split("."))
        )
        value = self._at_rim(shape.reader) if shape and shape.reader else self.chance.choice(WORDS)
        here = tree
        *way, last = path.replace("[]", "").split(".")
        for one in way:
            below = here.setdefault(one, {}) if isinstance(here, dict) else {}
            here = below[0] if isinstance(below, list) and below else below
        if isinstance(here, dict):
            here[last] = value

    def text(self, text: str) -> str:
        """Change a text in one place, whatever it says."""
        lines = text.split("\n")
        number = self.chance.randrange(len(lines))
        spot = self.chance.randrange(len(text)) if text else 0
        return self.chance.choice(
            [
                "\n".join([*lines[:number], lines[number], *lines[number:]]),
                "\n".join([*lines[:number], *lines[number + 1 :]]),
                "\n".join(
                    [
                        *lines[:number],
                        self.chance.choice([" ", "  ", "\t"]) + lines[number],
                        *lines[number + 1 :],
                    ]
                ),
                "\n".join([*lines[:number], lines[number].lstrip(), *lines[number + 1 :]]),
                text[:spot]
                + self.chance.choice(
                    [
                        "\x00",
                        "\x85",
                        "\ud83c\udf3b",
                        "*a",
                        "&a ",
                        "!t ",
                        "[",
                        "}",
                        "'",
                        '"',
                        ":",
                        "#",
                        "|",
                        ">",
                        "%",
                        "@",
                        "\r",
                        "---\n",
                    ]
                )
                + text[spot:],
                text[:spot],
                text[:spot] + text[spot + self.chance.randrange(1, 20) :],
                text.replace("\n", "\r\n"),
                text + "x: " + "[" * self.chance.choice([5, 49, 60, 5000]),
                text
                + "a: &a [x, x]\n"
                + "".join(f"b{one}: &b{one} [*a, *a]\n" for one in range(self.chance.choice([2, 30]))),
                f"\ufeff{text}",
            ]
        )


def _both_as_left(place: Place) -> Place:
    return ("left", *place[1:]) if place[:1] == ("both",) else place


def _copied(tree: Tree) -> Tree:
    if isinstance(tree, Mapping):
        return {key: _copied(one) for key, one in tree.items()}
    return [_copied(one) for one in tree] if isinstance(tree, list) else tree


def loaded(text: str) -> Tree:
    """The tree of a YAML text, all of it text."""
    return yaml.load(text, yaml.BaseLoader)


def dumped(tree: Tree) -> str:
    """The text of a tree."""
    return yaml.dump(tree, sort_keys=False, allow_unicode=True, width=10_000, Dumper=yaml.SafeDumper)
