"""The walker that is looked at: its name beside it, and the causes of what it does."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from replays.drawing.figures import walker_name
from replays.drawing.label_placing import label_box, place_beside, plate_size
from replays.drawing.layout import Box
from replays.drawing.metres_to_points import View
from replays.drawing.moving_picture import Stage
from replays.drawing.sheet import Sheet
from replays.format.tables import Replay
from replays.window.buttons_and_cards import TEXT, draw_card
from replays.window.voltage_plot import StripView

if TYPE_CHECKING:
    from replays.window.cause_strip import CausePanel


class ChosenWalker:
    """Draws what is told of the walker that is chosen; its circuit is fetched when it is first needed."""

    def __init__(self, replay: Replay) -> None:
        self._replay = replay
        self._causes: CausePanel | None = None
        self._is_announced = False
        self._side: NDArray[np.intp] | None = None

    @property
    def is_ready(self) -> bool:
        """Whether nothing has been announced that is still to come."""
        return self._causes is not None or not self._is_announced

    @property
    def causes_view(self) -> StripView | None:
        """What is where among the causes drawn last; None where there was nothing to draw."""
        return None if self._causes is None else self._causes.view

    def draw_name(self, sheet: Sheet, box: Box, stage: Stage, view: View, chosen: int, time_s: float) -> None:
        """The name of ``chosen`` beside it, within ``box``, over no walker and no name on the floor."""
        figures = stage.figures(view)
        x, y, _ = figures.places(time_s)
        if not box.holds((float(x[chosen]), float(y[chosen]))):
            return
        order = np.append(chosen, np.delete(np.arange(len(x)), chosen))
        words = walker_name(self._replay, chosen)
        words = sheet.shorten(words, TEXT, 0.5 * box.width)
        anchors, radii = np.column_stack([x, y])[order], figures.radii[order] + 2.0
        radii[0] += 10.0
        sizes = np.array([plate_size(sheet, words, TEXT)])
        taken = np.array([label_box(sheet, label) for label in stage.names(view)]).reshape(-1, 4)
        edges = (box.left, box.top, box.right, box.bottom)
        corners, self._side = place_beside(anchors, radii, sizes, edges, taken, self._side)
        if np.isfinite(corners[0, 0]):
            sheet.plate(words, (float(corners[0, 0]), float(corners[0, 1])), TEXT)

    def draw_causes(
        self, sheet: Sheet, box: Box, walkers: Sequence[int], time_s: float, now_s: float, *, holds: bool
    ) -> None:
        """Draw the causes of ``walkers`` at ``time_s`` [s] into ``box``; ``now_s`` is the viewer's time [s].

        Where it ``holds``, what is told stays for a while, for it could not be read.
        """
        if self._causes is None and not self._is_announced:
            # the circuit's kernels come along with it, which may have to be compiled
            self._is_announced = True
            draw_card(sheet, box)
            words = "getting the circuit ready; the first time this may take half a minute"
            for number, line in enumerate(sheet.wrapped(words, TEXT, box.width - 30)):
                place = (box.middle[0], box.middle[1] + 22.0 * number)
                sheet.text(line, place, TEXT, across=0.5, down=0.5)
            return
        if self._causes is None:
            from replays.window.cause_strip import CausePanel

            self._causes = CausePanel(self._replay)
        told_s = self._causes.time(time_s, now_s, holds=holds)
        self._causes.draw(sheet, box, walkers, told_s)
