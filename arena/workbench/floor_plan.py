"""The plan of the arena as it is being changed: what lies on it, and what is being dragged."""

from collections.abc import Callable
from dataclasses import dataclass

from agents.errors import OptionError
from agents.text.keyed_errors import KeyedErrors
from agents.text.quantities import Pair
from arena.scene.spec import ArenaSpec
from arena.workbench.documents import Document, arena_of
from arena.workbench.movables import (
    METER,
    Movable,
    movables_of,
    snapped,
    why_not,
    with_movable,
)

# Only these take room from walkers at their start.
_TAKE_ROOM = ("wall", "start", "zone")


@dataclass(frozen=True)
class Drag:
    """A movable that is being dragged: where it was, where it hangs now, and why it cannot stay there."""

    origin: Movable
    now: Movable
    fault: str = ""

    @property
    def is_moved(self) -> bool:
        """Whether it hangs elsewhere than it was."""
        return self.now.points != self.origin.points


def meter_at_start(spec: ArenaSpec) -> Pair:
    """Where the light meter lies at first [m]: in the middle of where walkers start."""
    starts = spec.starts
    places = starts.zone.outline if starts.zone is not None else [one.place for one in starts.places or ()]
    across, along = zip(*places, strict=True)
    return round(sum(across) / len(across), 2), round(sum(along) / len(along), 2)


@dataclass
class FloorPlan:
    """What lies on the plan of ``arena``, and the light ``meter`` [m], which is in no file.

    ``check_room`` raises OptionError for an arena in which the walkers have no room to start.
    """

    arena: Document
    meter: Pair
    check_room: Callable[[ArenaSpec], None]
    drag: Drag | None = None

    @property
    def spec(self) -> ArenaSpec:
        """The arena that is shown: with what is dragged where it hangs, if it can be there."""
        if self.drag is None or self.drag.fault or self.drag.now.kind == "meter":
            return arena_of(self.arena)
        return with_movable(arena_of(self.arena), self.drag.now)

    @property
    def meter_shown(self) -> Pair:
        """Where the meter hangs or lies [m], be it possible or not."""
        is_dragged = self.drag is not None and self.drag.now.kind == "meter"
        return self.drag.now.points[0] if self.drag is not None and is_dragged else self.meter

    @property
    def meter_place(self) -> Pair:
        """Where the meter reads [m]: where it lies as long as it hangs where it cannot be."""
        return self.meter if self.drag is not None and self.drag.fault else self.meter_shown

    def movables(self) -> list[Movable]:
        """What can be moved, the light meter first."""
        meter = Movable("meter", "light meter", METER, (self.meter,))
        return [meter, *movables_of(arena_of(self.arena))]

    def drag_to(self, across: float, along: float, *, exact: bool = False) -> bool:
        """Hold what is dragged ``across`` and ``along`` [m] from where it was; on the grid unless ``exact``.

        Returns whether it has come to another place that can be.
        """
        if self.drag is None:
            return False
        origin = self.drag.origin
        now = origin.moved(across, along) if exact else snapped(origin, across, along)
        if now.points == self.drag.now.points:
            return False
        self.drag = Drag(origin, now, self.fault_of(now))
        return not self.drag.fault

    def end_drag(self) -> Drag | None:
        """Let go; returns what was dragged and has been moved."""
        drag, self.drag = self.drag, None
        return drag if drag is not None and drag.is_moved else None

    def fault_of(self, movable: Movable) -> str:
        """Why a movable cannot be where it is, or empty."""
        if movable.kind == "meter":
            across, along = zip(*arena_of(self.arena).floor.outline, strict=True)
            x, y = movable.points[0]
            on_floor = min(across) <= x <= max(across) and min(along) <= y <= max(along)
            return "" if on_floor else "the meter lies on the floor"
        try:
            spec = with_movable(arena_of(self.arena), movable)
            if movable.kind in _TAKE_ROOM:
                self.check_room(spec)
        except KeyedErrors as error:
            return why_not(error)
        except OptionError as error:
            return str(error)
        return ""
