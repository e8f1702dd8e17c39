"""What a projector shows can be read from the back of a room, and nothing goes over an edge."""

import itertools
from typing import Any

import pytest
import shapely

from replays.drawing.figures import Moment
from replays.drawing.ground import GOALS
from replays.drawing.label_placing import label_box
from replays.drawing.moving_picture import Stage
from replays.drawing.projector_page import FLOOR, LETTERS, ProjectorPage
from replays.drawing.sheet import Sheet, pygame
from replays.drawing.show_times import AGAIN
from replays.format.tables import Replay
from tests.helpers.fabricate import Fabricator, potting_bench
from tests.helpers.window_measures import crowd_in


def thirty() -> Replay:
    """Thirty walkers, of which some arrive."""
    made = Fabricator(seconds=600.0, arena=potting_bench().replay().arena)
    for number in range(30):
        x, y = 0.12 + 0.05 * (number % 6), 0.15 + 0.14 * (number // 6)
        walker = made.walker(x, y, 0.1 * number, design=0)
        for step in range(6):
            made.pulse(
                walker, 20.0 + number + 90.0 * step, (x + 0.02 * number * (step + 1) / 3, y), lasts_s=0.5
            )
    return made.replay()


@pytest.fixture
def written(monkeypatch: pytest.MonkeyPatch) -> list[tuple[str, float, Any]]:
    """What is written: words, height of the letters [pixels], and the rectangle [pixels] that it takes."""
    seen: list[tuple[str, float, Any]] = []
    text = Sheet.text

    def noted(self: Sheet, words: str, place: Any, size: int, *rest: Any, **more: Any) -> None:
        width, height = self.text_size(words, size)
        left = place[0] - more.get("across", 0.0) * width
        top = place[1] - more.get("down", 0.0) * height
        corners = [value * self.scale for value in (left, top, left + width, top + height)]
        # the ground is drawn on surfaces of its own, whose edges say nothing
        if self.surface.get_size() in SIZES:
            seen.append((words, size * self.scale, shapely.box(*corners)))
        text(self, words, place, size, *rest, **more)

    monkeypatch.setattr(Sheet, "text", noted)
    return seen


SIZES = [(1280, 720), (1920, 1080), (800, 600), (640, 400)]


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("letters", [LETTERS[0], LETTERS[-1]])
def test_letters_are_large_and_nothing_goes_over_an_edge(
    size: tuple[int, int], letters: float, written: list[tuple[str, float, Any]]
) -> None:
    names = [f"entry {number} \U0001f33b of a class" for number in range(30)]
    page = ProjectorPage(thirty(), *size, names=names, yours=29, letters=letters)
    assert page.floor_share() >= FLOOR
    surface = pygame.Surface(size)
    again = page.times.begin_of(AGAIN)
    window = shapely.box(0, 0, *size)
    for show_s in (1.0, 20.0, again or 30.0, page.times.seconds - 1.0):
        written.clear()
        page.draw(surface, show_s)
        assert len(written) > 5
        for words, height, place in written:
            assert height >= size[1] / 25 - 0.51 or size[1] / size[0] > 0.7, words
            assert window.buffer(0.6).contains(place), (words, place.bounds)


def test_thirty_entries_show_the_first_ten_and_ones_own(written: list[tuple[str, float, Any]]) -> None:
    page = ProjectorPage(thirty(), 1280, 720, yours=0)
    page.draw(pygame.Surface((1280, 720)), 20.0)
    words = [one for one, _, _ in written]
    places = page.places(page.times.run_time(20.0))
    for place in places[:10]:
        assert place.name in words
    assert places.index(next(place for place in places if place.walker == 0)) > 9
    assert page.names[0] in words
    page.tell(3)
    written.clear()
    page.draw_words(pygame.Surface((1280, 720)), 20.0)
    assert page.names[3] in [one for one, _, _ in written]


@pytest.mark.parametrize("has_lines", [False, True])
def test_names_beside_walkers_cover_no_walker_and_no_name(
    monkeypatch: pytest.MonkeyPatch, has_lines: bool
) -> None:
    page = ProjectorPage(crowd_in("potting-bench") if has_lines else thirty(), 1280, 720, yours=9)
    plates: list[Any] = []
    plate = Sheet.plate

    def noted(self: Sheet, words: str, corner: tuple[float, float], size: int) -> None:
        width, height = self.text_size(words, size)
        plates.append(shapely.box(*corner, corner[0] + width + 10, corner[1] + height + 6))
        plate(self, words, corner, size)

    monkeypatch.setattr(Sheet, "plate", noted)
    surface = pygame.Surface((1280, 720))
    for show_s in (5.0, 20.0, 40.0):
        page.draw_floor(surface, show_s)
        plates.clear()
        page.draw_words(surface, show_s)
        assert len(plates) >= 4
        figures = page.stage.figures(page.view)
        x, y, _ = figures.places(page.times.run_time(show_s))
        bodies = [shapely.Point(a, b).buffer(r) for a, b, r in zip(x, y, figures.radii, strict=True)]
        lines = [shapely.box(*box) for box in page.stage.line_names(page.view)]
        assert bool(lines) == has_lines
        for one in plates:
            assert not any(one.intersects(body) for body in bodies)
            assert not any(one.intersection(line).area > 0 for line in lines), "nor how much light a line is"
        assert not any(one.intersects(other) for one, other in itertools.combinations(plates, 2))


@pytest.mark.parametrize("walkers", [0, 1, 2])
def test_few_walkers_are_a_show_too(walkers: int) -> None:
    made = Fabricator(seconds=10.0)
    for number in range(walkers):
        made.walker(0.3 + 0.2 * number, 0.5)
    page = ProjectorPage(made.replay(), 320, 320)
    for show_s in (0.5, 30.0, page.times.seconds - 0.5):
        page.draw(pygame.Surface((320, 320)), show_s)


def test_names_on_the_floor_keep_clear_of_the_board() -> None:
    page = ProjectorPage(thirty(), 1280, 720)
    assert page.board is not None
    surface = pygame.Surface((1280, 720))
    sheet = Sheet(surface, page.scale, page.theme)

    def named(covered: tuple[tuple[float, float, float, float], ...]) -> list[Any]:
        stage = Stage(page.replay, page.theme, page.scale, names=GOALS)
        stage.covered = covered
        stage.draw(surface, page.view, Moment(0.0))
        return [shapely.box(*label_box(sheet, label)) for label in stage.names(page.view)]

    [name] = named(())
    # wherever a board lies, the name of the goal is beside it
    board = name.buffer(4.0)
    assert not any(one.intersects(board) for one in named((board.bounds,)))
    page.draw_floor(surface, 5.0)
    own = shapely.box(page.board.left, page.board.top, page.board.right, page.board.bottom)
    labels = page.stage.names(page.view)
    assert not any(shapely.box(*label_box(sheet, one)).intersects(own) for one in labels)
