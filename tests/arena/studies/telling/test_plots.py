"""The pictures of studies and kits: whole files, the same bytes, every edge, and colours for every eye."""

import io
import math
import subprocess
import sys
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from agents.errors import OutputError
from agents.text.units import format_quantity
from arena.studies.statistics.estimates import Estimates, estimate_all
from arena.studies.statistics.factors import Factor
from arena.studies.telling import canvas, frames
from arena.studies.telling.curves import curve, curves
from arena.studies.telling.plots import bars, forest, history
from arena.studies.telling.scales import even_ticks, factor_ticks, scale_for, with_unit
from arena.studies.telling.score_maps import heat_map
from arena.studies.trial_scores import SCORES, Score
from replays.drawing.colours import look
from replays.drawing.theme import LIGHT
from tests.replays.window.test_care import EYES, THRESHOLD, contrast, difference, luminance

Floats = NDArray[np.float64]

REACHED, REACH_TIME, DIRECTNESS = SCORES["reached"], SCORES["reach time"], SCORES["directness"]
LONG = "the potting bench under the south skylight"


def lengths(count: int, by_ratio: bool = False) -> Factor:
    values = (np.geomspace if by_ratio else np.linspace)(0.01, 0.5, count).tolist()
    shown = tuple(format_quantity(value, "m", 4) for value in values)
    return Factor("both.eye.aside", tuple(values), shown, True, by_ratio, "m")


def named(count: int, words: str = "poppy") -> Factor:
    names = tuple(f"{words} {number}" for number in range(count))
    return Factor("design", names, names, False)


def shares(count: int, seed: int = 0) -> Estimates:
    generator = np.random.default_rng(seed)
    return estimate_all(REACHED, (generator.random((count, 30)) < generator.random((count, 1))).astype(float))


def estimates(score: Score, rows: Sequence[float]) -> Estimates:
    return estimate_all(score, np.repeat(np.array(rows, dtype=np.float64)[:, None], 8, axis=1))


def opened(path: Path) -> Image.Image:
    """A picture, its size checked; no part of it may be left over."""
    assert [one.name for one in path.parent.iterdir()] == [path.name]
    with Image.open(path) as picture:
        assert picture.format == "PNG"
        assert picture.width == canvas.WIDTH == 1200
        return picture.convert("RGB")


def pixels_of(picture: Image.Image | NDArray[np.uint8], colour: tuple[int, int, int]) -> NDArray[np.int64]:
    """Rows and columns (pixels, 2) that have exactly a colour."""
    return np.argwhere((np.asarray(picture) == np.array(colour)).all(axis=2))


DRAWINGS: dict[str, Callable[[Path], None]] = {
    "two levels": lambda path: curve(path, "t", REACHED, lengths(2), [shares(2)]),
    "forty levels, four series": lambda path: curve(
        path,
        "t",
        REACHED,
        lengths(40),
        [shares(40, seed) for seed in range(4)],
        [LONG] * 4,
        {"wheels": 0.021},
    ),
    "forty levels by ratio": lambda path: curve(path, "t", REACHED, lengths(40, True), [shares(40)]),
    "one level": lambda path: curve(path, "t", REACHED, lengths(1), [shares(1)], ["$a_b$"]),
    "nothing": lambda path: curve(
        path, "t", DIRECTNESS, lengths(3), [estimates(DIRECTNESS, [math.nan] * 3)], (), {"x": 0.2}
    ),
    "no end": lambda path: curve(
        path, "t", REACH_TIME, lengths(3), [estimates(REACH_TIME, [math.inf] * 3)], ["cress"]
    ),
    "partly no end": lambda path: curve(
        path, "t", REACH_TIME, lengths(4), [estimates(REACH_TIME, [90.0, math.nan, math.inf, 900.0])]
    ),
    "all equal": lambda path: curve(path, "t", DIRECTNESS, lengths(4), [estimates(DIRECTNESS, [0.5] * 4)]),
    "names along": lambda path: curve(path, "t", REACHED, named(9, LONG), [shares(9)]),
    "map": lambda path: heat_map(
        path, "t", REACHED, lengths(5), named(3, LONG), shares(15), np.arange(15) % 4 == 0
    ),
    "map of one": lambda path: heat_map(path, "t", REACHED, lengths(1), lengths(1), shares(1)),
    "large map": lambda path: heat_map(path, "t", REACHED, named(40, LONG), lengths(14), shares(560)),
    "map of nothing": lambda path: heat_map(
        path, "t", REACH_TIME, named(2), named(2), estimates(REACH_TIME, [math.nan, math.inf] * 2)
    ),
    "rows": lambda path: bars(path, "t", REACHED, named(6, LONG), shares(6)),
    "many rows": lambda path: bars(path, "t", REACHED, named(130), shares(130)),
    "rows without end": lambda path: bars(
        path, "t", REACH_TIME, named(3), estimates(REACH_TIME, [math.inf, math.nan, 7200.0])
    ),
    "gains": lambda path: forest(path, "t", "a", list(zip("abc", shares(3), strict=True)), "kits that work"),
    "gains of nothing": lambda path: forest(path, "t", "a", [], "kits that work"),
    "plots below one another": lambda path: curves(
        path,
        "t",
        REACHED,
        lengths(5),
        [(LONG, [shares(5), shares(5, 1)]), ("nasturtium", [shares(5, 2), shares(5, 3)])],
        ["cress", LONG * 3],
        {"wheels": 0.021},
    ),
    "search": lambda path: history(path, "t", REACH_TIME, [100, 250], [math.inf, 80.0], [16, 2]),
    "search with intervals": lambda path: history(
        path, "t", REACHED, [90, 250], [0.5, 0.8], [16, 2], ends=([0.2, math.nan], [0.8, math.nan])
    ),
    "search of one round": lambda path: history(path, "t", REACHED, [100], [0.5], [1]),
    "search that never was": lambda path: history(path, "t", REACHED, [], [], []),
    "long title": lambda path: bars(path, f"{LONG} " * 9, REACHED, named(2), shares(2), "note " * 200),
    "letters without a shape": lambda path: bars(path, "種\t\n蒔き", REACHED, named(2, "芥子"), shares(2)),
}


@pytest.mark.parametrize("name", DRAWINGS)
def test_every_drawing_is_a_whole_picture_with_the_same_bytes(name: str, tmp_path: Path) -> None:
    path = tmp_path / "picture.png"
    DRAWINGS[name](path)
    picture = opened(path)
    assert 150 < picture.height < 8000
    first = path.read_bytes()
    DRAWINGS[name](path)
    assert path.read_bytes() == first
    # The margin stays free: no words run out of the picture.
    frame = np.asarray(picture)
    for edge in (frame[:, :16], frame[:, -12:], frame[:6], frame[-6:]):
        assert (edge == np.array(LIGHT.paper)).all()


def test_settings_of_the_user_change_nothing(tmp_path: Path) -> None:
    import matplotlib

    path = tmp_path / "picture.png"
    DRAWINGS["partly no end"](path)
    first = path.read_bytes()
    with matplotlib.rc_context({"lines.linewidth": 9.0, "font.size": 30.0, "axes.grid": True}):
        DRAWINGS["partly no end"](path)
        assert matplotlib.rcParams["lines.linewidth"] == 9.0
    assert path.read_bytes() == first


def test_a_picture_holds_no_date_and_no_program(tmp_path: Path) -> None:
    path = tmp_path / "picture.png"
    DRAWINGS["rows"](path)
    with Image.open(io.BytesIO(path.read_bytes())) as picture:
        assert set(picture.info) <= {"dpi"}


def test_the_drawing_library_is_loaded_late_and_without_its_windows(tmp_path: Path) -> None:
    program = (
        "import sys; from arena.studies.telling.plots import bars; assert 'matplotlib' not in sys.modules\n"
        "from arena.studies.statistics.estimates import Estimates\n"
        "from arena.studies.statistics.factors import Factor\n"
        "from arena.studies.trial_scores import SCORES; import numpy as np; from pathlib import Path\n"
        "one = np.array([0.5]); many = Estimates(one, one, one, np.array([9]), ('Wilson',))\n"
        f"path = Path({str(tmp_path / 'picture.png')!r})\n"
        "bars(path, 't', SCORES['reached'], Factor('a', ('b',), ('b',), False), many)\n"
        "assert 'matplotlib' in sys.modules and 'matplotlib.pyplot' not in sys.modules\n"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, timeout=120)
    assert (done.returncode, done.stdout) == (0, ""), done.stderr


def test_a_place_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="cannot be written"):
        DRAWINGS["rows"](tmp_path / "nowhere" / "picture.png")
    assert not list(tmp_path.iterdir())


def test_numbers_that_do_not_fit_are_refused(tmp_path: Path) -> None:
    path = tmp_path / "picture.png"
    refused: list[Callable[[], None]] = [
        lambda: curve(path, "t", REACHED, lengths(3), [shares(2)]),
        lambda: curve(path, "t", REACHED, lengths(3), []),
        lambda: curve(path, "t", REACHED, named(0), [shares(0)]),
        lambda: heat_map(path, "t", REACHED, named(0), named(2), shares(0)),
        lambda: curve(path, "t", REACHED, lengths(3), [shares(3)] * 2),
        lambda: curve(path, "t", REACHED, lengths(3), [shares(3)], ["a", "b"]),
        lambda: heat_map(path, "t", REACHED, lengths(3), lengths(2), shares(5)),
        lambda: heat_map(path, "t", REACHED, lengths(3), lengths(2), shares(6), np.ones(5, dtype=bool)),
        lambda: bars(path, "t", REACHED, named(3), shares(2)),
        lambda: history(path, "t", REACHED, [1, 2], [0.5], [1]),
        lambda: history(path, "t", REACHED, [1], [0.5], [1], ends=([0.2], [0.8, 0.9])),
    ]
    for draw in refused:
        with pytest.raises(ValueError, match="needs"):
            draw()
    assert not path.exists()


def test_marks_stand_where_their_figures_are(tmp_path: Path) -> None:
    path = tmp_path / "picture.png"
    values = np.array([0.0, 0.5, 1.0])
    nan = np.full(3, math.nan)
    curve(path, "t", REACHED, lengths(3), [Estimates(values, nan, nan, np.zeros(3, int), ("nothing",) * 3)])
    where = pixels_of(opened(path), look(0).colour)
    columns = [where[where[:, 1] == edge] for edge in (where[:, 1].min(), where[:, 1].max())]
    low, high = (float(column[:, 0].mean()) for column in columns)
    # Evenly spaced figures of evenly spaced levels lie on a straight line, 0 to 100 % over the plot.
    centre = (where[:, 1].min() + where[:, 1].max()) / 2.0
    middle = where[np.abs(where[:, 1] - centre) < 2.0]
    assert middle[:, 0].mean() == pytest.approx((low + high) / 2.0, abs=2.0)
    assert low - high == pytest.approx(400.0, abs=6.0)


def test_a_gap_is_left_where_there_is_no_figure(tmp_path: Path) -> None:
    def share_of_columns(rows: Sequence[float]) -> float:
        path = tmp_path / "picture.png"
        curve(path, "t", DIRECTNESS, lengths(5), [estimates(DIRECTNESS, rows)])
        columns = np.unique(pixels_of(opened(path), look(0).colour)[:, 1])
        return len(columns) / (columns.max() - columns.min() + 1)

    assert share_of_columns([0.1, 0.2, 0.3, 0.4, 0.5]) > 0.9
    # two of the four stretches are gone
    assert share_of_columns([0.1, 0.2, math.nan, 0.4, 0.5]) == pytest.approx(0.5, abs=0.1)


@pytest.mark.parametrize("score", [REACHED, SCORES["stuck"]])
def test_the_better_a_cell_the_brighter(score: Score, tmp_path: Path) -> None:
    path = tmp_path / "picture.png"
    values = np.linspace(0.1, 0.9, 5)
    nan = np.full(5, math.nan)
    many = Estimates(values, nan, nan, np.full(5, 9), ("too few trials",) * 5)
    heat_map(path, "t", score, lengths(5), named(1), many)
    frame = np.asarray(opened(path))
    found, counts = np.unique(frame.reshape(-1, 3), axis=0, return_counts=True)
    # The cells are large; what is larger is paper.
    cells = [tuple(row) for row in found[(counts > 3000) & (counts < 40000)].tolist()]
    cells.sort(key=lambda colour: pixels_of(frame, colour)[:, 1].mean())
    light = [luminance(colour) for colour in cells]
    assert len(cells) == 5
    assert light == sorted(light, reverse=not score.more_is_better)


@pytest.mark.parametrize("blind_to", EYES)
@pytest.mark.parametrize("number", range(7))
def test_series_stand_out_from_the_card(number: int, blind_to: str | None) -> None:
    mine = look(number)
    assert max(difference(one, LIGHT.card, blind_to) for one in (mine.colour, mine.casing)) > THRESHOLD


@pytest.mark.parametrize("blind_to", EYES)
def test_figures_without_end_lie_in_a_strip_of_another_colour(blind_to: str | None) -> None:
    strip = [0.35 * over + 0.65 * under for over, under in zip(LIGHT.accent, LIGHT.card, strict=True)]
    # Words say what it is; the strip itself need but be noticed.
    assert difference(tuple(strip), LIGHT.card, blind_to) > 2.3


def test_series_differ_by_mark_and_dashes_as_well_as_by_colour() -> None:
    shapes = {(str(canvas.mark_of(look(number))), look(number).pattern) for number in range(7)}
    assert len(shapes) == 7
    # WCAG 2.2, success criterion 1.4.3: at least 4.5 to 1
    assert contrast(LIGHT.wood, LIGHT.paper) >= 4.5


def test_no_letters_are_smaller_than_ten_points() -> None:
    assert min(canvas.LETTERS, canvas.SMALL, canvas.HEADING) >= 10.0


@pytest.mark.parametrize(
    ("low", "high", "ticks"),
    [
        (0.0, 1.0, [0.0, 0.2, 0.4, 0.6, 0.8, 1.0]),
        (0.013, 0.052, [0.02, 0.03, 0.04, 0.05]),
        (-3.0, 17.0, [0.0, 5.0, 10.0, 15.0]),
        (5.0, 5.0, [5.0]),
    ],
)
def test_ticks_are_round(low: float, high: float, ticks: list[float]) -> None:
    assert even_ticks(low, high, 6) == pytest.approx(ticks)


def test_ticks_by_ratio_are_one_two_five_with_prefixes() -> None:
    ticks = [words for _, words in factor_ticks(1e3, 1e5, True, "ohm", 9)]
    assert ticks == ["1 kohm", "2 kohm", "5 kohm", "10 kohm", "20 kohm", "50 kohm", "100 kohm"]
    # over many decades, whole ones
    assert [value for value, _ in factor_ticks(1e-9, 1e-3, True, "F", 9)] == pytest.approx(
        10.0 ** np.arange(-9, -2)
    )
    assert len(factor_ticks(1e-12, 1e9, True, "ohm", 9)) <= 9
    # less than a decade: even steps
    assert [words for _, words in factor_ticks(0.2, 1.0, True, "%", 6)] == [
        "20 %",
        "40 %",
        "60 %",
        "80 %",
        "100 %",
    ]
    assert [words for _, words in factor_ticks(0.0, math.pi, False, "rad", 7)] == [
        "0 deg",
        "50 deg",
        "100 deg",
        "150 deg",
    ]


def test_values_are_told_with_their_units() -> None:
    assert [with_unit(0.021, "m"), with_unit(0.3, "%"), with_unit(7.0, ""), with_unit(-0.0, "")] == [
        "21 mm",
        "30 %",
        "7",
        "0",
    ]


@pytest.mark.parametrize(
    ("longest", "unit", "high"), [(50.0, "s", 50.0), (600.0, "min", 10.0), (9000.0, "h", 2.5)]
)
def test_times_are_in_the_unit_that_suits_them(longest: float, unit: str, high: float) -> None:
    scale = scale_for("s", [np.array([longest / 2.0, math.inf, longest])])
    assert (scale.unit, scale.low, scale.high) == (unit, 0.0, pytest.approx(high))
    assert scale.at(np.array([longest]))[0] == pytest.approx(high)
    assert scale.high < scale.at(np.array([math.inf]))[0] < scale.top
    assert scale.tick_words(scale.ticks[-1]).endswith(f" {unit}")


def test_shares_have_the_whole_scale_unless_asked_otherwise() -> None:
    figures = [np.array([0.62, 0.71])]
    assert (scale_for("%", figures).low, scale_for("%", figures).high) == (0.0, 100.0)
    close = scale_for("%", figures, is_whole=False)
    assert 0.0 < close.low <= 62.0 < 71.0 <= close.high < 100.0
    # one figure over and over still has an axis around it
    same = scale_for("", [np.full(4, 3.0)])
    assert same.low < 3.0 < same.high


def test_names_are_moved_apart_no_further_than_needed() -> None:
    places = canvas.apart([10.0, 12.0, 90.0], [20.0, 20.0, 20.0], 0.0, 100.0)
    assert places == [10.0, 30.0, 90.0]
    crowded = canvas.apart([95.0, 96.0, 97.0], [20.0, 20.0, 20.0], 0.0, 100.0)
    assert crowded == [50.0, 70.0, 90.0]


def test_a_mark_far_from_the_levels_is_told_and_not_drawn() -> None:
    axis = frames.LevelAxis(lengths(3), {"wheels": 0.021, "door": 30.0, "none": math.nan})
    assert list(axis.marks) == ["wheels 21 mm"]
    assert axis.left_out == [
        "door 30 m lies outside of the picture",
        "none nan m lies outside of the picture",
    ]
    assert axis.limits[0] < 0.01 < 0.5 < axis.limits[1]


def test_the_note_tells_trials_and_what_the_bars_are() -> None:
    words = frames.interval_words([shares(4)], "bars:", "at each level")
    assert words == (
        "bars: the interval that holds the true figure with 95 % confidence; 30 trials at each level"
    )
    nan = np.array([math.nan])
    few = Estimates(np.array([0.5]), nan, nan, np.array([1]), ("too few trials",))
    words = frames.interval_words([few], "bars:", "in each row")
    assert words == "no intervals for want of trials; 1 trial in each row"
