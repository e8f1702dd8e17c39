"""Reading a class: the broken are scratched with what is wrong, the others race."""

import os
from pathlib import Path

import pytest

from agents.errors import NotFoundError, OptionError
from arena.races.entries import matching_files, read_entries
from arena.races.race_plan import race_on
from arena.races.race_setup import RaceSetup, prepare_race
from tests.helpers.classes import write_class
from tests.helpers.commands import DESIGN


def entered(folder: Path) -> RaceSetup:
    return prepare_race(race_on("sprint"), read_entries([str(folder)]))


BROKEN = {
    "01-typo.yaml": (DESIGN + "storge: { capacitance: 2200 uF }\n", "(nearest: storage)"),
    "02-unit.yaml": (DESIGN + "both: { latch: 1000 }\n", "expected a resistance with its unit"),
    "03-yaml.yaml": (DESIGN + "both: { latch: 1k\n", "03-yaml.yaml:"),
    "04-empty.yaml": ("", "got an empty file, expected a map of keys"),
    "05-binary.yaml": (b"\x00\xff\xfe\x80", "expected text in UTF-8"),
    "06-long-name.yaml": ("photodrome: design 1\nname: " + "x" * 300 + "\n", "of at most 40 characters"),
    "07-newer.yaml": ("photodrome: design 9\nname: borage\n", "a newer photodrome"),
    "08-range.yaml": (DESIGN + "storage: { capacitance: 5000 F }\n", "08-range.yaml:3"),
    "09-large.yaml": (DESIGN + "body: { radius: 600 mm, track: 500 mm }\n", "09-large.yaml"),
    "10-no-name.yaml": ("photodrome: design 1\nbody: { mass: 14 g }\n", "name"),
}


def test_of_thirty_ten_are_broken_in_different_ways(tmp_path: Path) -> None:
    write_class(tmp_path, 20)
    for name, (content, _) in BROKEN.items():
        (tmp_path / name).write_bytes(content.encode() if isinstance(content, str) else content)
    setup = entered(tmp_path)
    assert len(setup.entries) == 20
    assert [one.number for one in setup.entries] == list(range(20))
    assert [one.file for one in setup.scratched] == sorted(BROKEN)
    for one in setup.scratched:
        reasons = " ".join(one.reasons)
        assert BROKEN[one.file][1] in reasons, reasons
        # place, what stands there, what is expected: words, and no trace of the program
        assert "Traceback" not in reasons


def test_names_of_all_sorts(tmp_path: Path) -> None:
    names = ["🌻 Sunny", "שלום", "<script>alert(1)</script>", "=1+1", "poppy", "poppy", "../../etc"]
    for number, name in enumerate(names):
        quoted = name.replace("'", "''")
        text = f"photodrome: design 1\nname: '{quoted}'\nbody: {{ mass: {14 + number} g }}\n"
        (tmp_path / f"{number}.yaml").write_text(text, encoding="utf-8")
    setup = entered(tmp_path)
    shown = [one.name for one in setup.entries]
    assert shown[:4] == names[:4]
    # two with one name are told apart by their files
    assert shown[4:6] == ["poppy (4)", "poppy (5)"]
    assert len(set(shown)) == len(names)
    assert setup.twins == ()


def test_forty_letters_of_one_name_are_told_apart_too(tmp_path: Path) -> None:
    for number in range(3):
        text = f"photodrome: design 1\nname: {'n' * 40}\nbody: {{ mass: {14 + number} g }}\n"
        (tmp_path / f"{'f' * 60}{number}.yaml").write_text(text)
    shown = [one.name for one in entered(tmp_path).entries]
    assert len(set(shown)) == 3
    assert max(map(len, shown)) <= 40


def test_the_same_walker_twice_is_pointed_out(tmp_path: Path) -> None:
    first, second, _ = write_class(tmp_path, 3)
    text = first.read_text().replace("name: Anaïs", "name: Somebody").replace("Ferns", "Others")
    second.write_text(text.replace("10k", "10 kohm"))
    setup = entered(tmp_path)
    assert setup.twins == ((0, 1),)
    assert [one.team for one in setup.entries][:2] == ["Ferns", "Others"]


def test_what_is_no_entry_is_left_aside_or_scratched(tmp_path: Path) -> None:
    write_class(tmp_path, 2)
    (tmp_path / "spring.yaml").write_text("photodrome: race 1\nname: x\n")
    (tmp_path / "notes.txt").write_text("not an entry")
    (tmp_path / ".hidden.yaml").write_text("not an entry")
    (tmp_path / "folder.yaml").mkdir()
    (tmp_path / "gone.yaml").symlink_to(tmp_path / "nowhere")
    (tmp_path / "link.yaml").symlink_to(tmp_path / "entry-01.yaml")
    os.mkfifo(tmp_path / "pipe.yaml")
    setup = entered(tmp_path)
    assert [one.file for one in setup.entries] == ["entry-01.yaml", "entry-02.yaml", "link.yaml"]
    # a link to another entry is the same walker
    assert setup.twins == ((0, 2),)
    assert [one.file for one in setup.scratched] == ["gone.yaml", "pipe.yaml"]
    assert "a link that leads nowhere" in setup.scratched[0].reasons[0]
    assert "but a pipe" in setup.scratched[1].reasons[0]
    assert setup.aside == ("spring.yaml: left aside, for it is of the kind race",)


def test_files_by_pattern_and_by_name(tmp_path: Path) -> None:
    write_class(tmp_path, 12)
    assert len(matching_files(str(tmp_path / "entry-0*.yaml"))) == 9
    one = str(tmp_path / "entry-03.yaml")
    assert len(read_entries([one, str(tmp_path / "entry-0*.yaml"), one]).entries) == 9
    with pytest.raises(NotFoundError, match="no YAML file goes by this pattern"):
        matching_files(str(tmp_path / "exit-*.yaml"))


def test_nobody_at_all(tmp_path: Path) -> None:
    with pytest.raises(NotFoundError, match="a folder without a YAML file"):
        read_entries([str(tmp_path)])
    (tmp_path / "one.yaml").write_text("photodrome: design 1\nname: [x]\n")
    with pytest.raises(OptionError, match=r"nobody is left to race\n  one.yaml: .*one.yaml:2"):
        entered(tmp_path)
