"""How many kits work and who is to blame, against references and designs whose guilty part is known."""

import csv
import math
from pathlib import Path

import numpy as np
import pytest
import scipy.stats
from SALib.analyze import rbd_fast

from agents.design.as_built import build
from agents.design.built_copies import draw_copies, part_chances, part_values
from agents.design.spec import Design, Tolerance, read_design
from agents.errors import OptionError
from agents.testbench.bench_figures import bench_record
from agents.testbench.faults import FAULTS
from agents.text.shipped import shipped_names
from arena.studies.kits.blame import Blame, alike, explained_by, paired_difference, parts_of, tightened
from arena.studies.kits.judging import BenchTest, Demand, expected_of, share_of
from arena.studies.kits.kit_yield import KitYield, estimate_yield, lights_between, write_copies

LIGHTS = (1e3, 4e3, 20e3)
ALL = Demand(LIGHTS, "daylight", frozenset(), math.radians(30.0))


def spread_out(values: dict[str, float] | None = None, /, **spread: str) -> Design:
    """The default design with values by path, and tolerances by path, its dots written as two strokes.

    A tolerance is a uniform one if it is a share, else the standard deviation of a normal one.
    """
    tolerances = {
        path.replace("__", "."): Tolerance(uniform=text) if "%" in text else Tolerance(normal=text)
        for path, text in spread.items()
    }
    return Design(name="test", spread=tolerances).with_values(values or {})


@pytest.mark.parametrize("name", shipped_names("design"))
def test_copies_are_those_that_race(name: str) -> None:
    design = read_design(name)
    records = draw_copies(design, 5, [0, 3, 17])
    for record, number in zip(records, (0, 3, 17), strict=True):
        assert record.tobytes() == build(design.built(5, number))[0].tobytes()


def test_a_copy_works_where_the_bench_finds_no_fault_and_it_steers_straight() -> None:
    design = spread_out(storage__capacitance="60 %", both__eye__dark_trigger="100 mV")
    found = estimate_yield(design, ALL, copies=60, seed=4, threads=1)
    for number in range(60):
        walker = build(design.built(4, number))[0]
        for place, light in enumerate(LIGHTS):
            bits = int(found.result.faults[number, place])
            told = {name for at, name in enumerate(FAULTS) if bits >> at & 1}
            assert told == set(bench_record(walker, light).faults)
            beside = abs(found.result.beside[number, place])
            heads_past = math.isnan(beside) or beside > math.radians(30.0)
            assert (not told.isdisjoint({"strays", "lopsided", "dull"})) >= heads_past
            assert ("strays" in told) <= heads_past
        assert found.result.works[number] == (not found.result.faults[number].any())
    counts = found.counts()
    assert set(counts) >= {"spin", "strays", "deaf feelers"}
    assert found.share.value == np.mean(found.result.works)
    for name, (any_light, by_light) in counts.items():
        assert max(by_light) <= any_light <= sum(by_light)
        assert any_light == found.result.has(name).any(axis=1).sum()


def test_faults_that_are_allowed_do_not_count() -> None:
    design = spread_out(storage__capacitance="60 %", both__eye__dark_trigger="100 mV")
    strict = estimate_yield(design, ALL, copies=60)
    lenient = estimate_yield(
        design, Demand(LIGHTS, "daylight", frozenset({"spin", "lame"}), ALL.straight), copies=60
    )
    assert strict.counts() == lenient.counts()
    others = ~(strict.result.has("spin") | strict.result.has("lame")).any(axis=1)
    assert np.all(lenient.result.works[others] == strict.result.works[others])
    assert lenient.share.value > strict.share.value


@pytest.mark.parametrize(("hits", "count"), [(0, 10), (931, 1000), (1000, 1000), (3, 7)])
def test_the_share_has_the_interval_of_wilson(hits: int, count: int) -> None:
    found = share_of(np.arange(count) < hits)
    reference = scipy.stats.binomtest(hits, count).proportion_ci(method="wilson")
    assert (found.value, found.low, found.high) == pytest.approx(
        (hits / count, reference.low, reference.high), abs=1e-12
    )


@pytest.mark.parametrize(
    ("works", "count", "kits"), [(931, 1000, 30), (0, 50, 30), (50, 50, 8), (7, 13, 500), (1, 1, 1)]
)
def test_what_to_expect_of_kits_still_to_be_built_is_beta_binomial(works: int, count: int, kits: int) -> None:
    reference = scipy.stats.betabinom(kits, works + 0.5, count - works + 0.5)
    low, median, high = (int(reference.ppf(chance)) for chance in (0.025, 0.5, 0.975))
    assert expected_of(works, count, kits) == (median, low, high)


def test_the_interval_of_a_gain_holds_it_as_often_as_it_says() -> None:
    # shares of copies mended and broken, over ten thousand tables of two hundred; by scipy's random numbers
    for mended, broken in ((0.05, 0.01), (0.02, 0.02), (0.3, 0.1)):
        tables = scipy.stats.multinomial(200, [mended, broken, 1.0 - mended - broken]).rvs(10_000, 1)
        distinct, counts = np.unique(tables[:, :2], axis=0, return_counts=True)
        held = 0
        for (more, less), count in zip(distinct.tolist(), counts, strict=True):
            found = paired_difference(more, less, 200)
            assert found.value == pytest.approx((more - less) / 200)
            held += count * (found.low <= mended - broken <= found.high)
        assert 0.94 <= held / 10_000 <= 0.98


def test_the_interval_of_a_gain_is_that_of_a_paired_bootstrap_where_there_is_much_to_go_by() -> None:
    differences = np.repeat([1.0, -1.0, 0.0], [250, 60, 690])
    reference = scipy.stats.bootstrap(
        (differences,), np.mean, n_resamples=5000, method="BCa", rng=np.random.default_rng(1)
    ).confidence_interval
    found = paired_difference(250, 60, 1000)
    assert (found.low, found.high) == pytest.approx((reference.low, reference.high), abs=3e-3)


@pytest.mark.parametrize(("mended", "broken", "count"), [(3, 0, 4), (0, 0, 10), (7, 2, 30)])
def test_the_interval_of_a_gain_is_the_plain_one_with_half_a_copy_more_in_every_cell(
    mended: int, broken: int, count: int
) -> None:
    """Agresti and Min (2004): the variance of a mean of 1, -1 and 0, which weighted moments give."""
    shares = np.array([mended + 0.5, broken + 0.5, count - mended - broken + 1.0])
    change = np.array([1.0, -1.0, 0.0])
    middle = np.average(change, weights=shares)
    error = math.sqrt(np.average((change - middle) ** 2, weights=shares) / shares.sum())
    low, high = scipy.stats.norm.interval(0.95, middle, error)
    found = paired_difference(mended, broken, count)
    assert (found.low, found.high) == pytest.approx((max(low, -1.0), min(high, 1.0)), abs=1e-12)


def test_the_explained_share_is_the_correlation_ratio_less_luck() -> None:
    chance = np.random.default_rng(3)
    draw = chance.random(1000)
    works = chance.random(1000) < 0.3 + 0.6 * (draw > 0.7)
    ordered = works[np.argsort(draw)].astype(float)
    # of the analysis of variance over ten classes: F = (eta² / 9) / ((1 - eta²) / 990)
    ratio = scipy.stats.f_oneway(*np.split(ordered, 10)).statistic * 9.0 / 990.0
    squared = ratio / (1.0 + ratio)
    assert explained_by(draw, works) == pytest.approx(1.0 - (1.0 - squared) * 999.0 / 990.0, abs=1e-12)
    lucky = [explained_by(chance.random(1000), works) for _ in range(200)]
    assert max(lucky) < 0.03
    # harm at either end, which ranks do not see
    assert explained_by(draw, np.abs(draw - 0.5) < 0.4) > 0.9
    assert abs(scipy.stats.spearmanr(draw, np.abs(draw - 0.5) < 0.4).statistic) < 0.1
    assert explained_by(draw, np.ones(1000, np.bool_)) == 0.0
    assert explained_by(draw[:3], works[:3]) == 0.0


@pytest.fixture(scope="module")
def loose_storage() -> KitYield:
    """A design that spins with a storage only a little larger, all other parts being tight."""
    design = spread_out(
        storage__capacitance="40 %",
        both__latch="1 %",
        both__series="1 %",
        both__feeler="1 %",
        both__motor__resistance="1 %",
        both__eye__dark_trigger="3 mV",
    )
    return estimate_yield(design, ALL, copies=300)


def test_the_part_that_is_guilty_by_construction_is_blamed_and_no_other(loose_storage: KitYield) -> None:
    blamed = [one for one in loose_storage.blame.parts if one.exact.is_told]
    assert [one.path for one in blamed] == ["storage.capacitance"]
    [storage] = blamed
    assert storage.exact.mends[0][0] == "spin"
    assert storage.half.gain.value < 0.9 * storage.exact.gain.value
    others = [one.explained for one in loose_storage.blame.parts[1:]]
    assert storage.explained > 0.4 > 0.1 > max(others)
    assert not any(one.alike.is_told for one in loose_storage.blame.pairs)


def test_a_reference_for_sensitivity_puts_the_same_part_first(loose_storage: KitYield) -> None:
    # first-order indices from given draws by RBD-FAST: Plischke, "An effective algorithm for computing global
    # sensitivity indices (EASI)", Reliability Engineering and System Safety 95 (2010), as SALib has it
    design = loose_storage.bench_test.design
    paths = [spread.path for spread in design.spreads]
    chances = part_chances(design, 1, range(300))
    problem = {"num_vars": len(paths), "names": paths, "bounds": [[0.0, 1.0]] * len(paths)}
    indices = rbd_fast.analyze(problem, chances, loose_storage.result.works.astype(float), seed=1)["S1"]
    assert paths[int(np.argmax(indices))] == "storage.capacitance"
    storage = loose_storage.blame.parts[0]
    assert storage.explained == pytest.approx(np.max(indices), abs=0.15)


def test_gains_are_those_of_scipy_on_the_same_pairs(loose_storage: KitYield) -> None:
    bench_test = loose_storage.bench_test
    column = parts_of(bench_test.design)["storage.capacitance"]
    chances = part_chances(bench_test.design, 1, range(300))
    values = part_values(bench_test.design, chances)
    [after] = bench_test.results([tightened(bench_test.design, column, 0.0)(chances, values)])
    mended = int(np.sum(after.works & ~loose_storage.result.works))
    broken = int(np.sum(loose_storage.result.works & ~after.works))
    storage = loose_storage.blame.parts[0]
    assert (storage.exact.mended, storage.exact.broken) == (mended, broken)
    chance = scipy.stats.binomtest(mended, mended + broken).pvalue
    # the smallest of six, after Holm
    assert storage.exact.p_value == pytest.approx(6.0 * chance, rel=1e-9, abs=0.0)
    assert storage.exact.gain.value == pytest.approx(after.works.mean() - loose_storage.share.value)


def test_unlike_eyes_are_cured_by_matching_them_and_come_first_among_pairs() -> None:
    design = spread_out(both__eye__dark_trigger="130 mV", both__latch="1 %", both__motor__resistance="1 %")
    found = estimate_yield(
        design, Demand(LIGHTS, "daylight", frozenset({"spin", "blind"}), ALL.straight), copies=300
    )
    # which of the two draws is high tells little, their difference nearly all
    [eyes] = [one for one in found.blame.parts if one.path == "both.eye.dark_trigger"]
    columns = parts_of(design)["both.eye.dark_trigger"]
    left, right = part_chances(design, 1, range(300))[:, columns].T
    works = found.result.works
    assert eyes.explained == explained_by(left - right, works)
    assert eyes.explained > 0.4 > max(explained_by(one, works) for one in (left, right, left + right))
    assert found.share.value < 0.7
    eyes = found.blame.pairs[0]
    assert (eyes.name, eyes.paths) == ("eyes", ("both.eye.dark_trigger",))
    assert eyes.alike.is_told
    assert eyes.alike.share.value > 0.97
    assert not any(one.alike.is_told for one in found.blame.pairs[1:])
    assert found.picking is not None
    assert found.picking.listed > found.picking.blind + 0.15


def test_one_side_alone_can_be_guilty() -> None:
    design = spread_out(left__motor__resistance="70 %", right__motor__resistance="1 %", left__latch="5 %")
    assert list(parts_of(design)) == ["both.motor.resistance", "left.latch"]
    alone = spread_out(left__motor__resistance="70 %", both__latch="1 %")
    found = estimate_yield(alone, ALL, copies=500)
    assert found.blame.parts[0].path == "left.motor.resistance"
    assert found.blame.parts[0].exact.is_told
    # only what both sides have can be matched
    assert [one.name for one in found.blame.pairs] == ["latch resistors"]


def test_a_change_leaves_every_other_draw_as_it_was() -> None:
    design = read_design("sunflower")
    chances = part_chances(design, 2, range(50))
    values = part_values(design, chances)
    column = parts_of(design)["both.eye.dark_trigger"]
    others = [place for place in range(values.shape[1]) if place not in column]
    half = tightened(design, column, 0.5)(chances, values)
    assert np.array_equal(half[:, others], values[:, others])
    # half the tolerance, drawn at the same quantile
    tighter = design.model_copy(
        update={"spread": {**design.spread, "both.eye.dark_trigger": Tolerance(normal="15 mV")}}
    )
    del tighter.__dict__["spreads"]
    assert half == pytest.approx(part_values(tighter, chances), rel=1e-12)
    left, right = column
    matched = alike(design, [(left, right)])(chances, values)
    assert np.array_equal(matched[:, right], values[:, left])
    assert np.array_equal(matched[:, others], values[:, others])


def test_the_same_for_any_number_of_threads() -> None:
    found = [
        estimate_yield(read_design("poppy"), ALL, copies=300, threads=threads).as_dict() for threads in (1, 3)
    ]
    assert found[0] == found[1]


def test_the_first_copies_stay_what_they_are_when_more_are_drawn() -> None:
    few, many = (estimate_yield(read_design("poppy"), ALL, copies=copies) for copies in (40, 150))
    assert np.array_equal(few.values, many.values[:40])
    assert np.array_equal(few.result.faults, many.result.faults[:40])


def test_what_progress_raises_stops_the_work() -> None:
    told: list[float] = []

    def tell(done: float) -> None:
        told.append(done)
        if len(told) > 1:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        estimate_yield(read_design("poppy"), ALL, copies=2000, tell=tell)
    whole: list[float] = []
    estimate_yield(read_design("poppy"), ALL, copies=50, tell=whole.append)
    assert whole == sorted(whole)
    assert whole[-1] == 1.0


def test_a_design_that_is_faulty_as_drawn_is_told() -> None:
    found = estimate_yield(read_design("thistle-spins"), ALL, copies=30)
    assert found.faulty_as_drawn == {"spin": LIGHTS}
    assert estimate_yield(read_design("poppy"), ALL, copies=30).faulty_as_drawn == {}


def test_lights_go_up_in_even_ratios_and_hold_both_ends() -> None:
    assert lights_between(1e3, 20e3, 5) == pytest.approx(np.geomspace(1e3, 20e3, 5).tolist())
    assert lights_between(1e3, 20e3, 2) == (1e3, 20e3)
    assert lights_between(3e3, 3e3, 5) == (3e3,)


@pytest.mark.parametrize(
    ("low", "high", "count", "told"),
    [
        (20e3, 1e3, 5, "the dimmer one comes first"),
        (0.0, 1e3, 5, "more than 0 lx"),
        (1e3, 2e6, 5, "at most 1 Mlx"),
        (math.nan, 1e3, 5, "more than 0 lx"),
        (1e3, 2e3, 1, "two ends"),
        (1e3, 2e3, 101, "100 at most"),
    ],
)
def test_a_range_of_lights_that_cannot_be(low: float, high: float, count: int, told: str) -> None:
    with pytest.raises(OptionError, match=told):
        lights_between(low, high, count)


def test_numbers_that_cannot_be() -> None:
    design = read_design("poppy")
    for how, told in (
        ({"copies": 0}, "0 copies"),
        ({"copies": 1_000_001}, "1000001"),
        ({"kits": 0}, "0 kits"),
    ):
        with pytest.raises(OptionError, match=told):
            estimate_yield(design, ALL, **how)
    with pytest.raises(OptionError, match="less than 90 deg"):
        Demand(LIGHTS, "daylight", frozenset(), 2.0)
    with pytest.raises(OptionError, match="no fault is called 'dizzy'"):
        Demand(LIGHTS, "daylight", frozenset({"dizzy"}), 0.5)
    with pytest.raises(OptionError, match="no light"):
        Demand((), "daylight", frozenset(), 0.5)


@pytest.mark.parametrize("spread", [{}, {"both__latch": "0 %"}])
def test_nothing_varies(spread: dict[str, str]) -> None:
    with pytest.raises(OptionError, match="nothing varies"):
        estimate_yield(spread_out(**spread), ALL)


def test_a_part_with_two_tolerances_takes_the_last_one() -> None:
    design = Design(
        name="test",
        spread={
            "both.latch": Tolerance(uniform="1 %"),
            "left.latch": Tolerance(uniform="50 %"),
            "storage.capacitance": Tolerance(uniform="1 %"),
        },
    )
    found: Blame = estimate_yield(design, ALL, copies=40).blame
    told = {one.path: one.tolerance for one in found.parts}
    assert told == {"both.latch": "uniform 50 % and uniform 1 %", "storage.capacitance": "uniform 1 %"}


def test_the_table_of_copies_holds_every_part_and_fault(tmp_path: Path) -> None:
    design = spread_out(storage__capacitance="60 %", both__eye__dark_trigger="200 mV", body__tyre_load="3 %")
    found = estimate_yield(design, ALL, copies=40)
    path = tmp_path / "kits.csv"
    write_copies(found, path)
    with path.open(newline="") as stream:
        rows = list(csv.DictReader(stream))
    assert len(rows) == 40
    for number, row in enumerate(rows):
        assert (row["copy"], row["works"]) == (str(number), str(int(found.result.works[number])))
        parts = design.drawn_parts(1, number)
        assert float(row["storage.capacitance [F]"]) == parts["storage.capacitance"]
        assert float(row["left.eye.dark_trigger [V]"]) == parts["left.eye.dark_trigger"]
        assert float(row["body.tyre_load"]) == parts["body.tyre_load"]
        for place, light in enumerate(("1000", "4000", "20000")):
            names = [name for name in FAULTS if found.result.has(name)[number, place]]
            assert row[f"faults at {light} lx"] == ";".join(names)
            beside = row[f"beside [deg] at {light} lx"]
            known = found.result.beside[number, place]
            assert beside == "" if math.isnan(known) else float(beside) == pytest.approx(math.degrees(known))


def test_a_trial_of_no_copies_at_all_is_empty() -> None:
    [result] = BenchTest(read_design("poppy"), ALL).results([np.zeros((0, 18))])
    assert result.faults.shape == (0, 3)
    assert math.isnan(share_of(result.works).value)
