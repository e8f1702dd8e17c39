"""Why a pulse was fired: worked out from the replay alone, and held against what the engine did."""

import math
from collections import Counter
from collections.abc import Callable, Iterator
from typing import Any

import numpy as np
import pytest

from agents.design.spec import Design, parse_design
from agents.errors import ReplayError
from agents.noise import TRIGGER, normal_pair
from arena.scene.contest import read_contest
from arena.simulation import simulate
from replays.causes.sentences import Cause, pulse_cause, volts_words
from replays.causes.traces import Circuits, Trace
from replays.format.replay_file import read_replay, write_replay
from replays.format.tables import CUT_OFF, LEFT_WHISKER, RIGHT_WHISKER, TOUCHED_BODY, Replay
from replays.window.cause_strip import latest_pulse, sentence
from replays.words import light_words
from tests.helpers.fabricate import Fabricator, arena

# How far triggers may be off that are worked out from what a replay keeps [V]: 0.05 % of light, by 0.7 V a
# decade, and the grain of its volts.
KEPT = 3e-4

# A crowd that shades and pushes, walls to touch, one kind of light and several, the sun, walkers alone.
RUNS = (
    ("potting-bench", ("poppy", "sunflower", "lentil"), 5, 1500.0, False),
    ("corner-trap", ("broad-bean", "poppy"), 4, 1200.0, False),
    ("slalom", ("mustard", "cress"), 4, 1200.0, True),
    ("skylight", ("poppy", "lentil"), 4, 900.0, False),
)


@pytest.fixture(scope="module")
def runs(tmp_path_factory: pytest.TempPathFactory) -> list[Replay]:
    """Replays that have been through a file, so that nothing else than the file can be used."""
    replays = []
    for place, designs, walkers, seconds, alone in RUNS:
        contest = read_contest(place, designs, walkers=walkers, seconds=seconds, seed=11, alone=alone)
        path = tmp_path_factory.mktemp(place) / "run.replay.npz"
        write_replay(simulate(contest, threads=1), path)
        replays.append(read_replay(path))
    return replays


def random_pulses(runs: list[Replay], count: int) -> Iterator[tuple[Replay, Trace, int]]:
    """``count`` pulses drawn from all runs alike."""
    draw = np.random.default_rng(2024)
    circuits = [Circuits(replay) for replay in runs]
    for _ in range(count):
        number = int(draw.integers(len(runs)))
        replay = runs[number]
        row = int(draw.integers(len(replay.pulses)))
        walker = int(replay.pulses["walker"][row])
        before = np.count_nonzero(replay.pulses["walker"][:row] == walker)
        yield replay, circuits[number].trace(walker), int(before)


def trigger_by_hand(design: Design, side: str, light: float, pressed: bool) -> float:
    """The eye's equation written out anew: V_dark + s log10(1 + tau E / E_0) + I_q R, or its bench table."""
    own = getattr(design, side)
    eye = own.eye
    feed = own.series + own.motor.resistance
    if pressed and own.feeler is not None:
        feed = 1.0 / (1.0 / feed + 1.0 / own.feeler)
    flash = eye.dark_trigger + eye.slope * math.log10(1.0 + eye.tape * light / eye.knee_light)
    if eye.table:
        places = [math.log10(1.0 + row.light) for row in eye.table]
        volts = [row.trigger for row in eye.table]
        flash = float(np.interp(math.log10(1.0 + eye.tape * light), places, volts))
    return float(flash + eye.quiet_current * feed)


def built(replay: Replay, walker: int) -> Design:
    told = replay.header["designs"][int(replay.walkers["design"][walker])]
    drawn = zip(replay.header["built_names"], replay.built[walker], strict=True)
    design = parse_design(told["yaml"], told["name"])
    return design.with_values({name: float(value) for name, value in drawn if not np.isnan(value)})


def test_each_of_1000_random_pulses_is_explained_as_it_was_fired(runs: list[Replay]) -> None:
    seen: Counter[str] = Counter()
    for replay, trace, number in random_pulses(runs, 1000):
        pulse = trace.pulses[number]
        cause = pulse_cause(trace, number)
        side, other = int(pulse["side"]), 1 - int(pulse["side"])
        names = ("left", "right")
        # the triggers by hand, with the jitter of the pulse: copy k of a design draws as walker k
        design = built(replay, trace.walker)
        firsts = np.flatnonzero(replay.walkers["design"] == replay.walkers["design"][trace.walker])
        jitter = normal_pair(replay.header["seed"], int(trace.walker - firsts[0]), TRIGGER, number)
        lights = (float(pulse["light_left_lx"]), float(pulse["light_right_lx"]))
        by_hand = [
            trigger_by_hand(design, names[s], lights[s], bool(int(pulse["touched"]) >> s & 1))
            + jitter[s] * getattr(design, names[s]).eye.jitter
            for s in (0, 1)
        ]
        assert cause.own_V == pytest.approx(by_hand[side], abs=1e-9)
        if math.isfinite(cause.other_V):
            assert cause.other_V == pytest.approx(by_hand[other], abs=1e-9)
            assert by_hand[side] <= by_hand[other] + 2.0 * KEPT
            assert sum(cause.shares.values()) == pytest.approx(by_hand[other] - by_hand[side], abs=1e-9)
        # and what the engine wrote down
        assert cause.side == side
        assert cause.other_V == pytest.approx(float(pulse["other_trigger_V"]), abs=KEPT)
        assert float(pulse["trigger_V"]) >= cause.own_V - KEPT
        check_words(cause, pulse, lights)
        seen[cause.reason] += 1
        seen["late"] += cause.above_V > 1e-3
    assert seen["light"] > 200
    assert seen["touch"] > 30
    assert seen["parts"] > 10
    assert seen["chance"] > 10


def check_words(cause: Cause, pulse: Any, lights: tuple[float, float]) -> None:
    """That each statement of the sentence is true of the pulse."""
    words, side = cause.words, cause.side
    own, other = lights[side], lights[1 - side]
    assert words.startswith(f"{('left', 'right')[side]} fired: ")
    if cause.reason == "alone":
        assert "could not fire" in words
        return
    if cause.reason == "tie":
        return
    assert cause.shares[cause.reason] == max(cause.shares.values())
    assert volts_words(cause.shares[cause.reason]) in words
    if cause.reason == "light":
        assert own < other
        assert f"its eye had {light_words(own)} against {light_words(other)}" in words
    pressed = [bool(int(pulse["touched"]) & bit) for bit in (1, 2)]
    if cause.reason == "touch":
        assert pressed[side]
    if "its whisker" in words or "whisker pressed" in words:
        assert pressed[side]
    if "the other whisker" in words and "moment" not in words:
        assert pressed[1 - side]
    if "its dimmer light" in words:
        assert own < other
    if "its brighter light" in words:
        assert own > other
    assert (cause.above_V > 1e-3) == ("rail" in words or "charged" in words or "moment" in words)


def test_the_rail_comes_out_at_every_trigger(runs: list[Replay]) -> None:
    errors = []
    for _, trace, number in random_pulses(runs, 300):
        pulse, wait = trace.pulses[number], trace.wait(number)
        assert wait.times[-1] == pytest.approx(float(pulse["start_s"]))
        assert (np.diff(wait.times) >= 0).all()
        errors.append(abs(float(wait.rail[-1] - pulse["trigger_V"])))
        if number > 0:
            assert wait.rail[0] == trace.pulses[number - 1]["let_go_V"]
        # until it fires the rail stays below both triggers, in the samples at which they are known
        for time_s, volts in zip(wait.times[:-1], wait.rail[:-1], strict=True):
            row = int(np.searchsorted(wait.changes, time_s, side="right")) - 1
            if row >= 0 and wait.times[-1] - time_s > 1e-6 and time_s > trace_hold(trace, number):
                assert volts <= wait.triggers[row].min() + 0.01
    # of which the 0.05 % within which light is kept are a volt's 0.5 mV
    assert np.median(errors) < 1e-3
    assert max(errors) < 5e-3


def trace_hold(trace: Trace, number: int) -> float:
    """Until when [s] the eye that fired before could not flash again."""
    return trace.recovers(number - 1) if number > 0 else 0.0


def test_where_lamps_are_of_one_kind_the_rail_needs_no_factor(runs: list[Replay]) -> None:
    kinds = {lamp["light"] for lamp in runs[0].arena["lamps"]}
    assert len(kinds) == 1
    assert runs[0].arena["ambient_light"] not in kinds
    errors = []
    for _, trace, number in random_pulses(runs[:1], 100):
        wait = trace.wait(number)
        free = trace._charge(wait.rail[0], edges_of(trace, wait.times[0], wait.times[-1]), 1.0, 4)[1][-1]
        errors.append(abs(free - float(trace.pulses[number]["trigger_V"])))
    # the rest is from light that changed while the walker moved, of which a replay has no row
    assert np.median(errors) < 1e-3
    assert np.percentile(errors, 90) < 2e-3


def edges_of(trace: Trace, began: float, until: float) -> np.ndarray:
    """Edges [s] between changes of light."""
    rows = trace.lights["time_s"]
    return np.concatenate([[began], rows[(rows > began) & (rows < until)], [until]])


def charge_error(trace: Trace, number: int) -> float:
    """By what share the charge under the curve of a pulse differs from the charge that the run wrote down."""
    curve = trace.pulse(number)
    charge = float(np.sum(curve.current[1:] * np.diff(curve.times)))
    return abs(charge / float(trace.pulses[number]["charge_C"]) - 1.0)


def test_the_current_of_a_pulse_is_that_of_the_run(runs: list[Replay]) -> None:
    free, held = [], []
    for _, trace, number in random_pulses(runs, 600):
        pulse, curve = trace.pulses[number], trace.pulse(number)
        assert curve.times[0] == pulse["start_s"]
        assert curve.times[-1] == pytest.approx(float(pulse["let_go_s"]))
        assert curve.rail[0] == pytest.approx(float(pulse["trigger_V"]))
        assert curve.rail[-1] == pytest.approx(float(pulse["let_go_V"]))
        # the peak comes before anything can be met, and is told as the mean of the first step
        assert curve.current.max() == pytest.approx(float(pulse["peak_A"]), rel=0.01)
        met = int(pulse["touched"]) & TOUCHED_BODY or pulse["ended"] == CUT_OFF
        (held if met else free).append(charge_error(trace, number))
    assert len(free) > 300
    # steps of a pulse that is followed anew are other ones, each true to 0.3 %
    assert np.median(free) < 6e-3
    # a walker may meet something after it has fired
    assert np.percentile(free, 95) < 0.02
    # how fast the floor passed is known from poses some ten milliseconds apart
    assert len(held) > 100
    assert np.median(held) < 0.01
    assert np.percentile(held, 95) < 0.05


def test_a_whisker_pressed_in_a_pulse_tells_from_the_same_step_on(runs: list[Replay]) -> None:
    errors = []
    for replay in runs:
        circuits = Circuits(replay)
        for trace in map(circuits.trace, range(len(replay.walkers))):
            for number, pulse in enumerate(trace.pulses):
                pressed = trace.presses(int(pulse["side"]), float(pulse["start_s"]), float(pulse["let_go_s"]))
                if len(pressed) > 0 and not int(pulse["touched"]) & TOUCHED_BODY:
                    errors.append(charge_error(trace, number))
    assert len(errors) > 80
    # the others are those in which the body was held soon after
    assert np.median(errors) < 6e-3
    assert np.percentile(errors, 75) < 0.015


def fabricated(
    both: str,
    right: str = "",
    starts: tuple[float, ...] = (30.0,),
    more: Callable[[Fabricator, int], None] | None = None,
    **light: float,
) -> Trace:
    """A walker of one design that fired once, at 30 s, by its left side; ``more`` is put in besides."""
    made = Fabricator(seconds=100.0, arena=arena())
    walker = made.walker(0.2, 0.5)
    for number, start in enumerate(starts):
        made.pulse(walker, start, (0.3 + 0.1 * number, 0.5))
    if more is not None:
        more(made, walker)
    replay = made.replay()
    text = f"photodrome: design 1\nname: cress\nboth:\n{both}"
    replay.header["designs"][0]["yaml"] = text + (f"right:\n{right}" if right else "")
    replay.header["built_names"] = []
    for column, value in light.items():
        replay.pulses[column] = value
    replay = Replay(**(vars(replay) | {"built": np.zeros((1, 0))}))
    return Circuits(replay).trace(0)


def test_of_two_alike_the_left_one_goes_first() -> None:
    trace = fabricated("  eye: { jitter: 0 mV }\n", light_left_lx=700.0, light_right_lx=700.0)
    cause = pulse_cause(trace, 0)
    assert cause.reason == "tie"
    assert cause.words.startswith("left fired: both triggers were alike")


def test_a_side_whose_flash_is_too_weak_leaves_the_other_alone() -> None:
    weak = "  latch: 100 ohm\n  eye: { flash_resistance: 10k }\n"
    trace = fabricated("  eye: { jitter: 0 mV }\n", weak, light_left_lx=700.0, light_right_lx=650.0)
    cause = pulse_cause(trace, 0)
    assert cause.reason == "alone"
    assert cause.other_V == math.inf
    assert cause.words.startswith("left fired: the right eye could not fire in 650 lx")


CHARGED = {"light_left_lx": 600.0, "light_right_lx": 700.0, "trigger_V": 4.0}


@pytest.mark.parametrize(
    ("starts", "more", "late"),
    [
        ((0.0,), None, "the run began with the storage charged"),
        ((30.0,), None, "the rail stood above the trigger already"),
        (
            (30.0,),
            lambda made, walker: made.touch(walker, 30.0, LEFT_WHISKER, closed=True),
            "its whisker was pressed that moment, with the rail above the new trigger",
        ),
        (
            (30.0,),
            lambda made, walker: made.touch(walker, 30.0, RIGHT_WHISKER, closed=True),
            "the other whisker changed that moment",
        ),
        (
            (30.0,),
            lambda made, walker: made.light(walker, 30.0, 400.0),
            "its light had fallen that moment, with the rail above the new trigger",
        ),
        # a second earlier is not that moment
        (
            (30.0,),
            lambda made, walker: made.touch(walker, 29.0, LEFT_WHISKER, closed=True),
            "the rail stood above the trigger already",
        ),
    ],
)
def test_why_the_rail_was_above_the_trigger(
    starts: tuple[float, ...], more: Callable[[Fabricator, int], None] | None, late: str
) -> None:
    cause = pulse_cause(fabricated("  eye: { jitter: 0 mV }\n", starts=starts, more=more, **CHARGED), 0)
    assert cause.above_V > 1.0
    assert cause.words.startswith("left fired: its eye had 600 lx against 700 lx")
    assert cause.words.endswith(f"; {late}")


def test_who_waited_for_its_eye_fires_when_that_has_recovered() -> None:
    eye = "  eye: { jitter: 0 mV }\n"
    ready = fabricated(eye, **CHARGED).recovers(0)
    assert ready > 30.5
    at_once = pulse_cause(fabricated(eye, starts=(30.0, ready), **CHARGED), 1)
    assert at_once.words.endswith("; the rail stood higher and waited for the eye to recover")
    later = pulse_cause(fabricated(eye, starts=(30.0, ready + 1.0), **CHARGED), 1)
    assert later.words.endswith("; the rail stood above the trigger already")


def test_parts_that_trigger_lower_are_told() -> None:
    """0.3 V less in the dark, and 0.7 V a decade of 1 + E / 150 lx against it."""
    light = {"light_left_lx": 700.0, "light_right_lx": 300.0}
    cause = pulse_cause(
        fabricated("  eye: { jitter: 0 mV }\n", "  eye: { dark_trigger: 2.5 V }\n", **light), 0
    )
    against = 0.7 * math.log10((1.0 + 700.0 / 150.0) / (1.0 + 300.0 / 150.0))
    assert cause.reason == "parts"
    assert cause.shares["parts"] == pytest.approx(0.3, abs=1e-9)
    assert cause.shares["light"] == pytest.approx(-against, abs=1e-9)
    assert cause.words.startswith("left fired: its parts trigger 0.30 V lower in the same light")
    assert f"against it {volts_words(against)} by its brighter light" in cause.words
    assert cause.words.endswith(f"{volts_words(0.3 - against)} in all")


def test_before_the_first_pulse_and_without_any_the_strip_says_so() -> None:
    trace = fabricated("  eye: { jitter: 0 mV }\n", light_left_lx=700.0)
    assert latest_pulse(trace, 29.0) is None
    assert "not fired yet" in sentence(trace, 29.0)[0]
    assert "0:00:30" in sentence(trace, 29.0)[1]
    assert sentence(trace, 30.0)[0].startswith("left fired")
    made = Fabricator()
    made.walker(0.2, 0.5)
    silent = made.replay()
    silent.header["designs"][0]["yaml"] = "photodrome: design 1\nname: cress\n"
    silent.header["built_names"] = ["storage.capacitance", "left.latch"]
    trace = Circuits(silent).trace(0)
    assert "never fires" in sentence(trace, 50.0)[0]
    assert trace.waits == 1
    assert trace.wait(0).times[-1] == silent.seconds


def test_a_design_that_cannot_be_read_is_told() -> None:
    made = Fabricator()
    made.walker(0.2, 0.5)
    replay = made.replay()
    with pytest.raises(ReplayError, match="cress in this replay cannot be read"):
        Circuits(replay).trace(0)
    replay.header["designs"][0]["yaml"] = "photodrome: design 1\nname: cress\n"
    with pytest.raises(ReplayError, match="storage_F"):
        Circuits(replay).trace(0)


@pytest.mark.parametrize(
    ("volts", "words"),
    [(0.1204, "0.12 V"), (0.0996, "0.10 V"), (0.05, "50 mV"), (0.0004, "0.4 mV"), (1.0, "1.00 V")],
)
def test_volts_in_words(volts: float, words: str) -> None:
    assert volts_words(volts) == words
