"""Films are written frame by frame: whatever their length, no more than a few frames are in memory."""

import io
import weakref
from collections.abc import Iterator

import numpy as np
import pytest
from PIL import Image, ImageSequence

from replays.drawing.film_files import LAST_STANDS, changed_box, write_frames

WIDTH, HEIGHT = 160, 90


def drawn(count: int, still: frozenset[int] = frozenset()) -> Iterator[np.ndarray]:
    """A square that wanders over a ground of a few colours; it rests in the frames of ``still``."""
    place = 0
    for number in range(count):
        frame = np.zeros((HEIGHT, WIDTH, 3), dtype=np.uint8)
        frame[:, :, 0] = (np.arange(WIDTH) // 20) * 20
        place += number not in still
        left, top = (7 * place) % 140, (5 * place) % 70
        frame[top : top + 12, left : left + 12] = (20, 200, 90)
        yield frame


def read_back(content: bytes) -> list[tuple[np.ndarray, float]]:
    """Frames of a file and how long each stands [ms], by Pillow."""
    with Image.open(io.BytesIO(content)) as image:
        return [
            (np.asarray(frame.convert("RGB")), float(frame.info["duration"]))
            for frame in ImageSequence.Iterator(image)
        ]


@pytest.mark.parametrize("ending", [".gif", ".png"])
def test_frames_come_back_one_after_the_other(ending: str) -> None:
    stream, still = io.BytesIO(), frozenset({4, 5, 6, 11})
    write_frames(stream, ending, drawn(12, still), 10.0)
    shown = read_back(stream.getvalue())
    wanted = [frame for number, frame in enumerate(drawn(12, still)) if number not in still]
    assert len(shown) == len(wanted)
    for (one, _), other in zip(shown, wanted, strict=True):
        if ending == ".png":
            np.testing.assert_array_equal(one, other)
        else:
            assert np.abs(one.astype(int) - other).max() < 12
    times = [stands for _, stands in shown]
    assert times[3] == 400.0, "frames that are alike are one that stands longer"
    assert sum(times) == 1200.0 + 1000.0 * LAST_STANDS


@pytest.mark.parametrize("ending", [".gif", ".png"])
def test_a_film_of_a_single_frame_and_one_that_never_changes(ending: str) -> None:
    for count in (1, 30):
        stream = io.BytesIO()
        write_frames(stream, ending, drawn(count, frozenset(range(count))), 2.0)
        shown = np.asarray(Image.open(io.BytesIO(stream.getvalue())).convert("RGB"))
        assert np.abs(shown.astype(int) - next(drawn(1, frozenset({0})))).max() < 12


def test_a_frame_that_stands_longer_than_the_format_can_say_is_told_twice() -> None:
    stream = io.BytesIO()
    write_frames(stream, ".png", drawn(150, frozenset(range(1, 150))), 1.0)
    assert sum(stands for _, stands in read_back(stream.getvalue())) == 152_000.0


@pytest.mark.parametrize("ending", [".gif", ".png", ".mp4"])
def test_no_more_than_a_few_frames_are_in_memory(ending: str) -> None:
    if ending == ".mp4":
        pytest.importorskip("imageio_ffmpeg")
    kept: list[weakref.ref[np.ndarray]] = []
    most = 0

    def counted() -> Iterator[np.ndarray]:
        nonlocal most
        for frame in drawn(60):
            kept.append(weakref.ref(frame))
            most = max(most, sum(one() is not None for one in kept))
            yield frame

    write_frames(io.BytesIO(), ending, counted(), 10.0)
    assert len(kept) == 60
    assert most <= 4


def test_the_rectangle_in_which_frames_differ() -> None:
    one = np.zeros((9, 7, 3), dtype=np.uint8)
    other = one.copy()
    assert changed_box(one, other) is None
    other[2, 3, 1] = other[6, 5, 0] = 1
    assert changed_box(one, other) == (3, 2, 6, 7)
    assert changed_box(one[:, :, 0], other[:, :, 0]) == (5, 6, 6, 7)
