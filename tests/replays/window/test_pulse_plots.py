"""Titles of the curves of a pulse stand where they can be read."""

import numpy as np
import pytest

from replays.drawing.layout import Box
from replays.drawing.sheet import Sheet, pygame
from replays.window.buttons_and_cards import SMALL
from replays.window.pulse_plots import _title_place

PLOT = Box(50.0, 40.0, 160.0, 60.0)


@pytest.mark.parametrize(
    ("shape", "zero"),
    [
        (lambda share: 1.0 - share, 0.0),
        (lambda share: share, 0.0),
        (lambda share: -share, 1.0),
        (lambda share: np.exp(-6.0 * share), 0.0),
        (lambda share: 0.0 * share, 0.0),
        (lambda share: np.where(share < 0.05, 20.0 * share, 1.0), 0.0),
    ],
)
def test_a_title_crosses_neither_its_curve_nor_the_line_at_nought(shape: object, zero: float) -> None:
    share = np.linspace(0.0, 1.0, 50)
    values = np.asarray(shape(share))  # type: ignore[operator]
    low = min(float(values.min()), 0.0)
    x = PLOT.left + PLOT.width * share
    y = PLOT.bottom - PLOT.height * (values - low)
    axis = PLOT.bottom - PLOT.height * zero
    sheet = Sheet(pygame.Surface((300, 200)))
    left, top = _title_place(sheet, PLOT, "turn", list(zip(x.tolist(), y.tolist(), strict=True)), axis)
    wide, high = sheet.text_size("turn", SMALL)
    assert PLOT.left <= left
    assert left + wide <= PLOT.right + 1e-9
    fine = np.linspace(PLOT.left, PLOT.right, 1000)
    on_curve = np.interp(fine, x, y)
    under = (fine > left) & (fine < left + wide) & (on_curve > top + 2) & (on_curve < top + high - 2)
    assert not under.any()
    assert not top + 2 < axis < top + high - 2


def test_a_curve_of_nothing_has_a_title_too() -> None:
    sheet = Sheet(pygame.Surface((300, 200)))
    for points in ([], [(60.0, 50.0)]):
        left, top = _title_place(sheet, PLOT, "turn", points, PLOT.bottom)
        assert PLOT.left <= left <= PLOT.right
        assert PLOT.top - 6 <= top <= PLOT.bottom
