"""Every fault of a YAML file is found at its line and column, all of them at once."""

import math
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import Annotated, Any, Literal

import pytest
from pydantic import Field

from agents.design.spec import parse_design, read_design
from agents.errors import NotFoundError, SpecError
from agents.text.keyed_errors import KeyedError, UnreadError, cross_check
from agents.text.marked_yaml import Node, merge_marked
from agents.text.quantities import Fraction, Number, Quantity
from agents.text.readers import Word
from agents.text.shapes import BaseSpec, field_table, key_paths, nearest_path
from agents.text.shipped import find_document, shipped_names
from agents.text.spec_reading import read_document


class Tray(BaseSpec):
    name: str
    height: Annotated[float, Quantity("m", above=0.0, most=1.0)] = Field(
        0.06, description="how high it stands"
    )
    soil: Literal["loam", "sand"] = "loam"


class Side(BaseSpec):
    latch: Annotated[float, Quantity("ohm", least=100.0, most=1e7)] = 10e3
    tape: Annotated[float, Fraction()] = 1.0


class Bed(BaseSpec):
    name: str
    left: Side = Side()
    right: Side = Side(latch=22e3)
    trays: tuple[Tray, ...] = ()
    lamp: Annotated[str, Word(("daylight", "white-led"))] = "daylight"
    rows: Annotated[int, Number(whole=True, least=1)] = 3
    deep: Annotated[float, Quantity("m")] | None = None

    @cross_check
    def _check_names(self) -> Iterator[KeyedError]:
        seen: dict[str, int] = {}
        for index, tray in enumerate(self.trays):
            with suppress(UnreadError):
                if tray.name in seen:
                    yield KeyedError(("trays", index, "name"), repr(tray.name), "a name of its own")
                seen[tray.name] = index
        if not self.trays:
            yield KeyedError(("trays",), "nothing", "at least one tray")


def both_sides(tree: Node) -> Node:
    """Put both: under left: and right:."""
    assert isinstance(tree.value, dict)
    both = tree.child("both")
    value = {key: node for key, node in tree.value.items() if key != "both"}
    for side in ("left", "right"):
        if merged := merge_marked(both, tree.child(side)):
            value[side] = merged
    return Node(value, tree.mark)


GOOD = """\
photodrome: design 1
name: bed
both:
  latch: 4k7
left:
  tape: 20 %
trays:
  - name: first
    height: 60 mm
  - name: second
    soil: sand
"""


def write(folder: Path, text: str | bytes) -> Path:
    path = folder / "bed.yaml"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def faults_of(folder: Path, text: str | bytes, **options: Any) -> list[tuple[int, int, str, str, str]]:
    path = write(folder, text)
    options.setdefault("prepare", both_sides)
    with pytest.raises(SpecError) as caught:
        read_document(path, Bed, "design", **options)
    assert all(fault.file == str(path) and fault.expected for fault in caught.value.faults)
    return [(fault.line, fault.column, fault.key, fault.got, fault.near) for fault in caught.value.faults]


def test_a_right_file(tmp_path: Path) -> None:
    bed = read_document(write(tmp_path, GOOD), Bed, "design", both_sides)
    assert bed.left == Side(latch=4700.0, tape=0.2)
    assert bed.right == Side(latch=4700.0, tape=1.0)
    assert [tray.height for tray in bed.trays] == [0.06, 0.06]
    assert bed.trays[1].soil == "sand"
    assert bed.rows == 3


def test_all_faults_at_once_each_at_its_place(tmp_path: Path) -> None:
    text = """\
photodrome: design 1
nmae: bed
both:
  latch: 4k7k
  tpae: 1
right:
  tape: 120 %
trays:
  - name: first
    height: 60
    soil: laom
  - hieght: 60 mm
    name: first
rows: on
lamp: white-lead
"""
    assert faults_of(tmp_path, text) == [
        (1, 1, "name", "nothing", ""),
        (2, 1, "nmae", "an unknown key", "name"),
        (4, 10, "both.latch", "'4k7k'", ""),
        (5, 3, "both.tpae", "an unknown key", "tape"),
        (7, 9, "right.tape", "'120 %'", ""),
        (10, 13, "trays[0].height", "'60'", ""),
        (11, 11, "trays[0].soil", "'laom'", "loam"),
        (12, 5, "trays[1].hieght", "an unknown key", "height"),
        (13, 11, "trays[1].name", "'first'", ""),
        (14, 7, "rows", "'on'", ""),
        (15, 7, "lamp", "'white-lead'", "white-led"),
    ]


def test_the_message_of_a_fault(tmp_path: Path) -> None:
    path = write(tmp_path, GOOD.replace("4k7", "33000"))
    with pytest.raises(SpecError) as caught:
        read_document(path, Bed, "design", both_sides)
    assert str(caught.value) == (
        f"{path}:4:10: both.latch: got '33000', expected a resistance with its unit, like 33k or 33 kohm, "
        "100 ohm to 10 Mohm"
    )


def test_checks_of_several_keys_are_shown_at_the_key(tmp_path: Path) -> None:
    text = GOOD.replace("name: second", "name: first")
    assert faults_of(tmp_path, text) == [(10, 11, "trays[1].name", "'first'", "")]
    assert faults_of(tmp_path, "photodrome: design 1\nname: bed\n") == [(1, 1, "trays", "nothing", "")]


def test_a_faulty_item_does_not_hide_the_checks_of_the_others(tmp_path: Path) -> None:
    text = GOOD.replace("name: second", "name: first") + "  - name: third\n    height: 1 V\nrosw: 4\n"
    assert faults_of(tmp_path, text) == [
        (10, 11, "trays[1].name", "'first'", ""),
        (13, 13, "trays[2].height", "'1 V'", ""),
        (14, 1, "rosw", "an unknown key", "rows"),
    ]
    # The only tray is faulty: that none is left is no fault of the file.
    text = "photodrome: design 1\nname: bed\ntrays:\n  - name: first\n    height: nan\n"
    assert faults_of(tmp_path, text) == [(5, 13, "trays[0].height", "'nan'", "")]
    text = "photodrome: design 1\nname: bed\ntray:\n  - name: first\n"
    assert faults_of(tmp_path, text) == [(3, 1, "tray", "an unknown key", "trays")]


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("", (1, 1, "", "an empty file", "")),
        ("# only a remark\n", (1, 1, "", "an empty file", "")),
        ("---\n", (1, 1, "", "an empty file", "")),
        ("- name: bed\n", (1, 1, "", "a list", "")),
        ("just words\n", (1, 1, "", "'just words'", "")),
        ("photodrome: arena 1\n", (1, 13, "photodrome", "an arena file", "")),
        (GOOD.replace("design 1", "design"), (1, 13, "photodrome", "'design'", "")),
        ("photodrome: pot 1\n", (1, 13, "photodrome", "'pot 1'", "")),
        (GOOD.replace("design 1", "[design]"), (1, 1, "photodrome", "a list", "")),
        (GOOD.replace("design 1", "design 0"), (1, 13, "photodrome", "'design 0'", "")),
        (GOOD.replace("design 1", "desing 1"), (1, 13, "photodrome", "'desing 1'", "")),
        (
            "photodrome: design 2\n",
            (1, 13, "photodrome", "version 2, which a newer photodrome has written", ""),
        ),
        (GOOD.replace("photodrome: design 1\n", ""), (1, 1, "photodrome", "nothing", "")),
        (GOOD + "name: bad\n", (12, 1, "name", "a second name, after that on line 2", "")),
        (GOOD + "rows:\n", (12, 6, "rows", "nothing", "")),
        (GOOD + "rows: ~\n", (12, 7, "rows", "'~'", "")),
        (GOOD + "deep:\n", (12, 6, "deep", "nothing", "")),
        (GOOD + "rows: [1]\n", (12, 1, "rows", "a list", "")),
        (GOOD + "rows: {a: 1}\n", (12, 1, "rows", "a map", "")),
        (GOOD + "rows: 010x\n", (12, 7, "rows", "'010x'", "")),
        (GOOD + "deep: 12:30\n", (12, 7, "deep", "'12:30'", "")),
        (GOOD + "deep: -1e-3\n", (12, 7, "deep", "'-1e-3'", "")),
        (GOOD.replace("  - name: first\n    height: 60 mm", "  - first"), (8, 5, "trays[0]", "'first'", "")),
        (GOOD.replace("both:\n  latch: 4k7", "both: 4k7"), (3, 7, "both", "'4k7'", "")),
        (GOOD.replace("left:\n  tape: 20 %", "left: [20 %]"), (5, 1, "left", "a list", "")),
        (GOOD.replace("name: bed", "name: ''"), (2, 7, "name", "nothing", "")),
        (GOOD.replace("name: bed", "name: [bed]"), (2, 1, "name", "a list", "")),
        (GOOD + "<<: {rows: 4}\n", (12, 1, "", "a merge key <<", "")),
        (GOOD + "rows: !!int 4\n", (12, 7, "rows", "the tag tag:yaml.org,2002:int", "")),
        (GOOD + "rows: !pot 4\n", (12, 7, "rows", "the tag !pot", "")),
        (GOOD + "---\nname: other\n", (12, 1, "", "a second document", "")),
        (GOOD + "? [a, b]\n: 4\n", (12, 3, "", "a list as a key", "")),
        (GOOD + "rows: *three\n", (12, 7, "rows", "an alias *three", "")),
        (GOOD + "rows: &three [*three]\n", (12, 15, "rows[0]", "an alias *three within itself", "")),
        (GOOD + "\trows: 4\n", (12, 1, "", "a tab", "")),
        (GOOD + "deep: 1\x00 m\n", (12, 8, "", "the character '\\x00'", "")),
        (GOOD.encode() + b"deep: 1 \xb5m\n", (12, 9, "", "the byte 0xb5", "")),
        (b"\xff\xfe" + GOOD.encode("utf-16-le"), (1, 1, "", "the byte 0xff", "")),
        ("[" * 60, (1, 51, "[0]" * 50, "a deeper nesting", "")),
        ("photodrome: design 1\ndeep: " + "{a: " * 60, (2, 200, "deep" + ".a" * 48, "a deeper nesting", "")),
        (b"#" * 1_000_001, (1, 1, "", "a larger file", "")),
        ("- 1\n" * 50_001, (50_001, 3, "[50000]", "too many values", "")),
    ],
)
def test_a_single_fault(tmp_path: Path, text: str | bytes, fault: tuple[int, int, str, str, str]) -> None:
    assert faults_of(tmp_path, text) == [fault]


def test_wrong_yaml_is_reported_where_it_breaks(tmp_path: Path) -> None:
    [(line, column, key, got, _)] = faults_of(tmp_path, GOOD + "rows: [1, 2\nlamp: daylight\n")
    assert (line, column, key) == (13, 5, "")
    assert got.startswith("broken YAML")
    [(line, column, _, got, _)] = faults_of(tmp_path, GOOD + "rows: 'open\n")
    assert (line, column) == (13, 1)


def test_a_file_that_multiplies_itself_is_refused_at_once(tmp_path: Path) -> None:
    """Thirty doublings of ten values each would fill any memory."""
    lines = ["photodrome: design 1", "name: bed", "a0: &a0 [x, x, x, x, x, x, x, x, x, x]"]
    lines += [f"a{step}: &a{step} [*a{step - 1}, *a{step - 1}]" for step in range(1, 40)]
    [(line, _, _, got, _)] = faults_of(tmp_path, "\n".join(lines))
    # The sum of 1 + 11 * 2**n passes 50,000 on the way to n = 12.
    assert 11 <= line <= 15
    assert got == "too many values"


def test_anchors_and_aliases_are_allowed_and_report_where_the_text_stands(tmp_path: Path) -> None:
    text = "photodrome: design 1\nname: bed\nleft: &side\n  latch: {}\nright: *side\ntrays: [name: a]\n"
    bed = read_document(write(tmp_path, text.replace("{}", "4k7")), Bed, "design")
    assert bed.right.latch == 4700.0
    assert faults_of(tmp_path, text.replace("{}", "4v7")) == [(4, 10, "left.latch", "'4v7'", "")]


def test_a_byte_order_mark_and_windows_line_ends_are_harmless(tmp_path: Path) -> None:
    content = b"\xef\xbb\xbf" + GOOD.replace("\n", "\r\n").encode()
    assert read_document(write(tmp_path, content), Bed, "design", both_sides).name == "bed"


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(NotFoundError, match="no such file"):
        read_document(tmp_path / "none.yaml", Bed, "design")
    with pytest.raises(NotFoundError, match="is a folder; expected a file"):
        read_document(tmp_path, Bed, "design")


def test_table_of_fields() -> None:
    rows = {row.key: row for row in field_table(Bed)}
    assert list(rows) == key_paths(Bed)
    assert rows["trays[].height"].unit == "m"
    assert rows["trays[].height"].default == "60 mm"
    assert rows["trays[].height"].description == "how high it stands"
    assert rows["trays[].name"].default == "required"
    assert rows["trays[].soil"].range == "loam, sand"
    assert (rows["left.latch"].default, rows["right.latch"].default) == ("10 kohm", "22 kohm")
    assert rows["right.latch"].range == "100 ohm to 10 Mohm"
    assert rows["right.tape"].default == "100 %"
    assert rows["deep"].default == "none"
    assert rows["lamp"].range == "daylight, white-led"


def test_nearest_paths() -> None:
    assert nearest_path(Bed, "left.ltach") == "left.latch"
    assert nearest_path(Bed, "latch") == "left.latch"
    assert nearest_path(Bed, "zzzz") == ""


def test_a_model_cannot_leave_numbers_to_pydantic() -> None:
    """Else nan and '1_000' would pass."""
    with pytest.raises(TypeError, match="needs a reader"):
        type("Loose", (BaseSpec,), {"__annotations__": {"height": float}})
    with pytest.raises(TypeError, match="needs a reader"):
        type("Loose", (BaseSpec,), {"__annotations__": {"heights": tuple[int, ...]}})
    with pytest.raises(ValueError, match="height"):
        Tray(name="a", height=math.nan)


def test_finding_shipped_files_and_own_ones(tmp_path: Path) -> None:
    for name in shipped_names("arena"):
        assert find_document(name, "arena").is_file()
    own = write(tmp_path, GOOD)
    assert find_document(own, "design") == own
    assert find_document(str(own), "design") == own
    for missing in (tmp_path / "no.yaml", "no.yaml", "./no", tmp_path):
        with pytest.raises(NotFoundError, match=r"expected a file of a design"):
            find_document(missing, "design")
    with pytest.raises(NotFoundError, match="no shipped design of this name"):
        find_document("no-such-design", "design")


def test_a_text_is_read_like_the_file_that_holds_it(tmp_path: Path) -> None:
    text = find_document("poppy", "design").read_text(encoding="utf-8")
    assert parse_design(text, "poppy") == read_design("poppy")
    wrong = tmp_path / "wrong.yaml"
    wrong.write_text(text.replace("latch:", "latsch:"), encoding="utf-8")
    with pytest.raises(SpecError) as of_file:
        read_design(wrong)
    with pytest.raises(SpecError) as of_text:
        parse_design(wrong.read_text(encoding="utf-8"), str(wrong))
    assert of_text.value.faults == of_file.value.faults
