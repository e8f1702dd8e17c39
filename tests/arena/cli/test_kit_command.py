"""The command kit: what it prints and writes, and what it refuses."""

import csv
import re
from pathlib import Path
from typing import Any

import pytest

from agents.testbench.faults import FAULTS, fault_title
from arena.studies.telling import plots
from tests.helpers.commands import photodrome, refusal

EYES = "eye,trigger\n" + "".join(f"E{number},{2.2 + 0.07 * number:.2f} V\n" for number in range(7))
DESIGN = """\
photodrome: design 1
name: borage
spread:
  both.eye.dark_trigger: { normal: 80 mV }
"""
# How a fault's title begins: (trigger above panel) and the like may be left out.
SHORT_TITLES = [fault_title(name).split(" (")[0] for name in FAULTS]
FEW = ("--copies", "60", "--light-count", "3")


@pytest.fixture(autouse=True)
def _own_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def test_the_answer_comes_first_and_the_cautions_last() -> None:
    outcome = photodrome("kit", "poppy", *FEW)
    assert (outcome.code, outcome.err) == (0, "")
    first, *_, last = outcome.out.rstrip().split("\n")
    answer = re.fullmatch(
        r"of 60 kits (\S+) % \[(\S+), (\S+)\] work from 1 klx to 20 klx; "
        r"of 30, expect (\d+) \((\d+) to (\d+)\)",
        first,
    )
    assert answer
    share, low, high = (float(answer[place]) for place in (1, 2, 3))
    assert low < share < high
    median, fewest, most = (int(answer[place]) for place in (4, 5, 6))
    assert fewest < median < most
    assert abs(median - 0.3 * share) < 1.5
    assert "Cautions for the bench" in last
    for words in ("storage.capacitance", "to blame: storage.capacitance", "eyes", "picking list: 30 eyes"):
        assert words in outcome.out


def test_json_holds_all_of_it_and_agrees_with_the_table() -> None:
    answer = photodrome("kit", "poppy", *FEW, "--kits", "12", "--json").json()
    assert (answer["design"], answer["copies"], answer["seed"]) == ("poppy", 60, 1)
    assert answer["lights_lx"] == pytest.approx([1e3, 4472.136, 20e3])
    assert answer["expected"]["kits"] == 12
    assert answer["faulty_as_drawn"] == {}
    works = answer["works"]
    assert 0.0 < works["low"] < works["value"] < works["high"] < 1.0
    assert answer["faults"]["spin"]["copies"] == max(answer["faults"]["spin"]["by_light"])
    parts = answer["blame"]["parts"]
    assert parts[0]["part"] == "storage.capacitance"
    assert len(parts) == 10
    for part in parts:
        gain = part["exact"]["works"]["value"] - works["value"]
        assert part["exact"]["gain"]["value"] == pytest.approx(gain)
        assert part["exact"]["mended"] - part["exact"]["broken"] == round(60 * gain)
    gains = [part["exact"]["gain"]["value"] for part in parts]
    assert gains == sorted(gains, reverse=True)
    assert len(answer["picking"]["pairs"]) == 15
    assert answer["files"] == []


def test_measured_eyes_are_paired_and_an_odd_one_is_left_over() -> None:
    Path("eyes.csv").write_text(EYES)
    answer = photodrome("kit", "poppy", *FEW, "--eyes", "eyes.csv", "--json").json()
    picking = answer["picking"]
    assert picking["measured"]
    assert [{pair["left"], pair["right"]} for pair in picking["pairs"]] == [
        {"E0", "E1"},
        {"E2", "E3"},
        {"E4", "E5"},
    ]
    assert [one["eye"] for one in picking["left_over"]] == ["E6"]
    assert picking["straight_by_list"] == 1.0
    # of 21 twos the six neighbours are 70 mV apart, the five next but one 140 mV
    assert picking["straight_blindly"] == pytest.approx(11.0 / 21.0)
    table = photodrome("kit", "poppy", *FEW, "--eyes", "eyes.csv").out
    assert "7 eyes, an odd number: 3 of 3 walkers" in table
    assert "left over: E6 (2.620 V)" in table


def test_a_stricter_angle_allows_less_apart() -> None:
    Path("borage.yaml").write_text(DESIGN)
    limits, strays = [], []
    for angle in ("10deg", "20deg", "30deg"):
        answer = photodrome("kit", "./borage.yaml", *FEW, "--straight", angle, "--json").json()
        limits.append(answer["picking"]["limit_V"])
        strays.append(answer["faults"]["strays"]["copies"])
    assert limits == sorted(limits)
    assert strays == sorted(strays, reverse=True)


def test_faults_that_are_allowed_are_told_and_not_counted() -> None:
    allowed = ("--allow", "spin", "--allow", "whiskers without effect", "--allow", "blind")
    whole = photodrome("kit", "poppy", *FEW, *allowed, "--json").json()
    assert whole["allowed"] == ["blind", "spin", "deaf feelers"]
    assert whole["faults"]["spin"]["copies"] > 0
    assert whole["works"]["value"] == 1.0
    table = photodrome("kit", "poppy", *FEW, *allowed).out
    assert "not counted: blind (trigger above panel), spin, whiskers without effect" in table
    assert "spin (not counted)" in table


def test_a_design_that_is_faulty_itself_is_told_before_anything_else() -> None:
    first, *_ = photodrome("kit", "thistle-spins", *FEW).out.split("\n")
    assert "as drawn" in first
    assert "faulty already: spin at 1 klx, 4.47 klx, 20 klx" in first
    assert "photodrome bench thistle-spins" in first


def test_the_table_of_copies_and_the_same_again() -> None:
    printed = photodrome("kit", "poppy", *FEW, "--out", "kits.csv")
    assert printed.out.rstrip().endswith("table: kits.csv")
    content = Path("kits.csv").read_bytes()
    with Path("kits.csv").open(newline="") as stream:
        assert len(list(csv.reader(stream))) == 61
    again = photodrome("kit", "poppy", *FEW, "--out", "kits.csv", "--threads", "3")
    assert Path("kits.csv").read_bytes() == content
    assert again.out == printed.out


def test_gains_are_drawn() -> None:
    printed = photodrome("kit", "poppy", *FEW, "--plot", "gains.png")
    assert (printed.code, printed.err) == (0, "")
    # the signature of the PNG specification (ISO/IEC 15948), 5.2
    assert Path("gains.png").read_bytes().startswith(b"\x89PNG\r\n\x1a\n")
    assert "picture: gains.png" in printed.out


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("poppi",), "nearest: poppy"),
        (("poppy", "--copies", "0"), "1 to 1000000"),
        (("poppy", "--copies", "1000001"), "1 to 1000000"),
        (("poppy", "--copies", "many"), "a whole number"),
        (("poppy", "--from", "20klx", "--to", "1klx"), "the dimmer one comes first"),
        (("poppy", "--from", "0 lx"), "more than 0 lx"),
        (("poppy", "--to", "2 Mlx"), "at most 1 Mlx"),
        (("poppy", "--from", "1000"), "with its unit"),
        (("poppy", "--light-count", "1"), "2 to 100"),
        (("poppy", "--kind", "moonlight"), "sun, overcast"),
        (("poppy", "--allow", "dizzy"), f"expected one of {', '.join(SHORT_TITLES)}"),
        (("poppy", "--allow", "hardly moving"), "(nearest: hardly moves)"),
        (("poppy", "--straight", "100 deg"), "an angle"),
        (("poppy", "--kits", "0"), "1 to 10000"),
        (("poppy", "--eyes", "none.csv"), "none.csv: no such file"),
        (("poppy", "--plot", "gains.jpg"), "ends in .png"),
        (("poppy", "--out", "none/kits.csv"), "there is no folder none"),
        (("poppy", "--out", "same.png", "--plot", "same.png"), "both table and picture"),
    ],
)
def test_what_cannot_be_is_refused(arguments: tuple[str, ...], told: str) -> None:
    code = 1 if "none/kits.csv" in arguments else 2
    assert told in refusal("kit", *arguments, code=code)


def test_a_design_in_which_nothing_varies_is_refused() -> None:
    Path("borage.yaml").write_text("photodrome: design 1\nname: borage\n")
    assert "nothing varies" in refusal("kit", "./borage.yaml")


def test_a_wrong_table_of_eyes_is_told_at_its_place() -> None:
    Path("eyes.csv").write_text("eye,trigger\nE1,2.31 V\nE2,2.31\n")
    assert "eyes.csv:3:4: trigger: got '2.31'" in refusal("kit", "poppy", "--eyes", "eyes.csv")


def test_inputs_are_not_written_over() -> None:
    Path("borage.yaml").write_text(DESIGN)
    Path("eyes.csv").write_text(EYES)
    for out in ("borage.yaml", "eyes.csv"):
        told = refusal("kit", "./borage.yaml", "--eyes", "eyes.csv", "--out", out)
        assert "is an input of this very command" in told


@pytest.mark.parametrize(
    "text",
    [
        EYES,
        EYES.replace(",", ";").replace(".", ","),
        EYES.replace("eye,trigger", "Eye\tTrigger [V]")
        .replace(",", "\t")
        .replace(" V", "")
        .replace(".", ","),
    ],
)
def test_eyes_in_the_spellings_of_spreadsheets(text: str) -> None:
    Path("bag.csv").write_text(text, encoding="utf-8")
    outcome = photodrome("kit", "poppy", *FEW, "--eyes", "bag.csv", "--json")
    assert outcome.code == 0
    eyes = [pair["left_V"] for pair in outcome.json()["picking"]["pairs"]]
    assert set(eyes) <= {round(2.2 + 0.07 * number, 2) for number in range(7)}


def test_eyes_are_paired_without_a_spread_and_a_drawer_says_what_it_lacks() -> None:
    Path("bag.csv").write_text(EYES, encoding="utf-8")
    Path("plain.yaml").write_text("photodrome: design 1\nname: borage\n", encoding="utf-8")
    assert photodrome("kit", "./plain.yaml", *FEW, "--eyes", "bag.csv").code == 0
    outcome = photodrome("kit", "poppy", *FEW, "--drawer", "potting-shed", "--kits", "30")
    assert outcome.code == 0
    assert "the drawer lacks, for 30 kits: feeler resistor, 60 needed, 9 there" in outcome.out
    assert "red flashers 1, 2.240 V" in outcome.out


CALM = """\
photodrome: design 1
name: {name}
{sides}spread:
  panel.current_per_light: {{ uniform: 1 % }}
"""
DIM = ("--copies", "20", "--light-count", "2", "--from", "2klx", "--to", "3klx")


def test_where_every_kit_works_no_part_is_to_blame() -> None:
    Path("calm.yaml").write_text(CALM.format(name="calm", sides=""), encoding="utf-8")
    outcome = photodrome("kit", "calm.yaml", *DIM)
    assert (outcome.code, outcome.err) == (0, "")
    assert outcome.out.startswith("of 20 kits 100.0 %")
    assert "no kit has any fault, so there is nothing to blame on a part" in outcome.out
    assert "gain" not in outcome.out
    # its eyes are all alike, so a list of pairs would say nothing
    apart = re.search(r"eyes up to (\d+) mV apart steer straight; not both of its eyes have", outcome.out)
    assert apart
    wide = (float(apart[1]) + 20.0) * 1e-3
    Path("eyes.csv").write_text(f"eye,trigger\na,2.3 V\nb,{2.3 + wide:.3f} V\n", encoding="utf-8")
    assert "0 of 1 walkers steer straight" in photodrome("kit", "calm.yaml", *DIM, "--eyes", "eyes.csv").out


def test_no_pairing_of_eyes_mends_sides_that_look_askew(monkeypatch: pytest.MonkeyPatch) -> None:
    sides = "left: { eye: { outward: 5 deg } }\nright: { eye: { outward: 80 deg } }\n"
    Path("askew.yaml").write_text(CALM.format(name="askew", sides=sides), encoding="utf-8")
    drawn: list[str] = []
    forest = plots.forest

    def noted(path: Path, finding: str, *more: Any) -> None:
        drawn.append(finding)
        forest(path, finding, *more)

    monkeypatch.setattr(plots, "forest", noted)
    outcome = photodrome("kit", "askew.yaml", *DIM, "--plot", "gains.png")
    assert (outcome.code, outcome.err) == (0, "")
    assert outcome.out.startswith(
        "askew as drawn, with no tolerance at all, is faulty already: strays at 2 klx"
    )
    assert "of 20 kits 0.0 %" in outcome.out
    assert "with like eyes too it heads too far beside a lamp, so no pairing of eyes helps" in outcome.out
    assert "picking list" not in outcome.out
    assert "to blame: no single part whose gain is significant at 5 %" in outcome.out
    assert drawn == ["No single part is told to cost any kits: no gain is significant"]
    # no two parts of both sides vary, so none are paired either
    assert "left and right alike" not in outcome.out
