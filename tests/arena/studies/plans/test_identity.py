"""What a study is known by: its digest, what it takes to send it, the text of its designs."""

import json
import pickle
from pathlib import Path

import pytest

from agents.design.spec import parse_design
from agents.errors import InputError, WorkError
from arena.studies.plans import study as plan
from arena.studies.plans.plan_form import MOST_TRIALS
from arena.studies.plans.study import Study, parse_study
from tests.helpers.plans import BASE, DRAWN, OWN, ROOM, with_vary, write


def test_the_text_of_a_design_with_its_values() -> None:
    text = with_vary(
        "design.both.latch: 4k7, 22k",
        "design.left.eye.tape: 50 %, 80 %",
        "design.spread.both.latch.uniform: 1 %, 2.5 %",
        "design.spread.body.mass.normal: 1 g",
        "design.both.feeler: none, 47k",
        "arena.walls.1.height: 20 mm",
    )
    study = parse_study(text)
    for number in range(study.settings):
        setting = study.setting(number)
        written = study.design_text(setting)
        expected = study.design_of(setting)
        name = f"poppy of setting {number}"
        assert parse_design(written, "winner") == expected.model_copy(update={"name": name})
        # what the author wrote around it stays
        assert "# flashing LEDs of one bag" in written
        assert "# from the middle; the wheels stand at 21 mm" in written
        assert ("both.feeler" in written) == (setting.values[4] is not None)
    best = study.design_text(study.setting(0), name="best of all")
    assert parse_design(best, "winner").name == "best of all"
    long = parse_study(text.replace("designs: poppy", "designs: [mustard]")).design_text(
        study.setting(0), "x" * 40
    )
    assert parse_design(long, "winner").name == "x" * 40


LOOSE = "{ uniform: 5 % }"


@pytest.mark.parametrize(
    "spread",
    [
        f"spread:\n  both.latch: {LOOSE}\n  both.feeler: {LOOSE}  # loose\n",
        "spread:\n  both.feeler:\n    normal: 5 %\n    bound: 9 %\n  # of the latch\n  both.latch: " + LOOSE,
        "spread:\n  both.latch:\n    uniform: 5 %\n  both.feeler:\n    uniform: 5 %",
        f"spread:\n  both.latch: {LOOSE}\n  left.feeler: {LOOSE}\n  right.feeler: {LOOSE}\n",
        f"spread:\r\n  both.feeler: {LOOSE}\r\n\r\n  both.latch: {LOOSE}\r\nbody: {{ mass: 15 g }}\r\n",
    ],
)
def test_the_tolerance_of_a_part_left_out_leaves_the_text(tmp_path: Path, spread: str) -> None:
    write(tmp_path / "own.yaml", f"photodrome: design 1\nname: own\n{spread}")
    plan_text = with_vary("design.both.feeler: none").replace("poppy", "own.yaml")
    study = parse_study(plan_text, "plan", tmp_path)
    design = parse_design(study.design_text(study.setting(0), "bare"), "bare")
    assert list(design.spread) == ["both.latch"]
    assert (design.left.feeler, design.right.feeler) == (None, None)
    one_side = parse_study(plan_text.replace("both.feeler", "left.feeler"), "plan", tmp_path)
    design = parse_design(one_side.design_text(one_side.setting(0), "half"), "half")
    assert set(design.spread) == {"both.latch", "right.feeler"}


@pytest.mark.parametrize(
    "spread", ["spread: { both.feeler: { uniform: 5 % } }", "spread:\n  both.feeler: { uniform: 5 % }"]
)
def test_a_text_that_cannot_be_changed_is_told(tmp_path: Path, spread: str) -> None:
    write(tmp_path / "own.yaml", f"photodrome: design 1\nname: own\n{spread}\n")
    study = parse_study(with_vary("design.both.feeler: none").replace("poppy", "own.yaml"), "plan", tmp_path)
    with pytest.raises(WorkError, match=r"change it by hand|cannot be changed"):
        study.design_text(study.setting(0), "bare")


def test_the_digest_is_of_all_that_decides_the_results(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    write(tmp_path / "own.yaml", OWN)
    write(tmp_path / "room.yaml", ROOM)
    text = BASE.replace("[slalom, corner-trap]", "[room.yaml, corner-trap]").replace(
        "[poppy, cress]", "[own.yaml, cress]"
    )
    text += "walkers: 2\nseed: 4\n"

    def parts_of(text: str) -> dict[str, str]:
        study = parse_study(text, "plan", tmp_path)
        assert len(study.digest) == 64
        digests.append(study.digest)
        return study.parts

    digests: list[str] = []
    before = parts_of(text)
    assert set(before) == {"plan", "arena room", "arena corner trap", "design own", "design cress", "program"}
    alike = [
        text.replace("name: a study", "name: another\nabout: the same"),
        text.replace("scores: [escape, reached]", "scores: held"),
        text.replace("wheels: 21 mm", "tyres: 25 mm"),
        text + "budget: 77\n",
        text.replace("4k7, 10k", "4.7 kohm,10 kohm  # the same"),
        text.replace("[20 mm, 25 mm, 30 mm, 35 mm]", "20 mm..35 mm in 4"),
        text.replace("repeats: 10\n", "repeats: 10\nsampling: grid\n"),
    ]
    for other in alike:
        assert other != text
        assert parts_of(other) == before
    assert len(set(digests)) == 1
    changed = [
        text.replace("repeats: 10", "repeats: 11"),
        text.replace("walkers: 2", "walkers: 3"),
        text.replace("seed: 4", "seed: 5"),
        text.replace("lasts: 10 min", "lasts: 11 min"),
        text.replace("lasts: 10 min\n", ""),
        text.replace("4k7, 10k", "10k, 4k7"),
        text.replace("4k7, 10k", "4k7, 10.001 kohm"),
        text.replace("design.both.latch", "design.left.latch"),
        text.replace("  design.both.latch: 4k7, 10k\n", "").replace(
            "vary:\n", "vary:\n  design.both.latch: 4k7\n"
        ),
        text.replace("  design.both.latch: 4k7, 10k\n", "").replace(
            "35 mm]", "35 mm]\n  design.both.latch: 4k7, 10k"
        ),
    ]
    for other in changed:
        assert other != text
        found = parts_of(other)
        assert {part for part in found if found[part] != before[part]} == {"plan"}
    swapped = parts_of(text.replace("[own.yaml, cress]", "[cress, own.yaml]"))
    assert swapped == before
    assert len(set(digests)) == 1 + len(changed) + 1
    write(tmp_path / "own.yaml", OWN.replace("latch: 10k", "latch: 12k"))
    assert {part for part, digest in parts_of(text).items() if digest != before[part]} == {"design own"}
    write(tmp_path / "room.yaml", ROOM.replace("rim", "rim").replace("50 mm", "51 mm"))
    assert {part for part, digest in parts_of(text).items() if digest != before[part]} == {
        "design own",
        "arena room",
    }
    monkeypatch.setattr(plan, "sources_digest", lambda: "another")
    assert parts_of(text)["program"] != before["program"]


def test_drawn_settings_are_part_of_the_digest(monkeypatch: pytest.MonkeyPatch) -> None:
    text = DRAWN.format(sampling="sobol", settings=64, seed=1)
    before = parse_study(text).parts
    assert set(before) == {"plan", "arena slalom", "arena corner trap", "design poppy", "drawn", "program"}
    draw = plan.drawn_shares
    monkeypatch.setattr(plan, "drawn_shares", lambda *given: draw(*given) * 0.999)
    after = parse_study(text).parts
    assert {part for part in after if after[part] != before[part]} == {"drawn"}


@pytest.mark.parametrize("text", [BASE, DRAWN.format(sampling="sobol", settings=96, seed=5)])
def test_a_study_can_be_sent(text: str, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    write(tmp_path / "own.yaml", OWN)
    study = parse_study(text.replace("poppy", "own.yaml"), "plan.yaml", tmp_path)
    payload = study.payload()
    json.loads(payload)
    (tmp_path / "own.yaml").unlink()
    monkeypatch.chdir(tmp_path)
    for other in (Study.from_payload(payload), pickle.loads(pickle.dumps(study))):
        assert (other.digest, other.parts, other.file) == (study.digest, study.parts, "plan.yaml")
        assert other.payload() == payload
        assert other.parameters == study.parameters
        assert other.scores == study.scores
        assert other.marks == study.marks
        for number in range(study.settings):
            setting = study.setting(number)
            assert other.setting(number) == setting
            assert other.design_of(setting) == study.design_of(setting)
            assert other.arena_of(setting) == study.arena_of(setting)
    monkeypatch.setattr(plan, "sources_digest", lambda: "another")
    with pytest.raises(InputError, match="program differ here from where the study was sent"):
        Study.from_payload(payload)


def test_a_study_of_too_many_trials_can_be_sent_once_it_is_allowed() -> None:
    study = parse_study(BASE.replace("repeats: 10", "repeats: 1000000"), most_trials=None)
    assert study.trials > MOST_TRIALS
    assert Study.from_payload(study.payload()).trials == study.trials
