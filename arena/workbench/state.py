"""The state of the workbench: which designs and arena lie on it, what is chosen, what is being worked out.

Nothing here draws. :mod:`arena.workbench.controller` turns keys and mouse into calls of :class:`Trial`.
"""

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import numpy.typing as npt

from agents.design.rewriting import rewrite_design, rewrite_values
from agents.design.spec import Design
from agents.design.values import SCOPES
from agents.errors import InputError, OptionError, WorkError
from agents.text.documents import KeyedErrors
from agents.text.marked_yaml import KeyPath
from agents.text.quantities import Pair
from arena.scene.contest import Contest, Entrant
from arena.scene.spec import ArenaSpec
from arena.workbench.computations import (
    Forecast,
    Race,
    Raced,
    Sky,
    Spot,
    Terms,
    check_room,
    contest_of,
    foresee,
    map_sky,
    run_race,
)
from arena.workbench.dials import DIALS, Dial, sketch
from arena.workbench.documents import History, Paper, arena_of, design_of, first_line
from arena.workbench.movables import Thing, snapped, thing_of, things_of, why_not, with_thing
from arena.workbench.worker import Latest
from replays.scoring.scores import DesignScore

SPEEDS = (1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1000.0)
"""Seconds of the run that go by in a second."""

# The files are looked at this often [s]; changes by key that follow within so long [s] are one step.
_LOOK, _PAUSE = 1.0, 1.2
# A run that is out of date for longer than this [s] is shown as such. With at most one change to and fro in
# this time nothing flashes three times a second, which is the limit of WCAG 2.3.1.
_PATIENCE = 0.4

METER: KeyPath = ("meter",)
"""Stands for the path of the light meter, which is in no file."""


@dataclass
class Carried:
    """A thing that is being dragged: where it was, where it hangs now, and why it cannot stay there."""

    origin: Thing
    now: Thing
    fault: str = ""


@dataclass
class Trial:
    """All that the window shows. ``note`` is the line at its foot, ``meter`` where pulses are foreseen [m].

    The run on show stays until the next one is there: ``raced`` is the last one that was finished, or the
    first one as far as it goes; ``before`` are the scores of the one before it.
    """

    arena: Paper
    designs: list[Paper]
    terms: Terms
    meter: Pair
    history: History
    chosen: int = 0
    dial: int = 0
    scope: int = 0
    on_plan: bool = False
    thing: KeyPath = METER
    carried: Carried | None = None
    note: str = ""
    time_s: float = 0.0
    playing: bool = False
    speed_step: int = SPEEDS.index(50.0)
    raced: Raced | None = None
    before: tuple[DesignScore, ...] = ()
    race_fault: str = ""
    light: npt.NDArray[np.float32] | None = None
    forecast: Forecast | None = None
    closed: bool = False
    changed_on_disk: list[Paper] = field(default_factory=list)
    races: Latest[Race, Raced] = field(default_factory=lambda: Latest("race", run_race))
    skies: Latest[Sky, npt.NDArray[np.float32]] = field(default_factory=lambda: Latest("light", map_sky))
    spots: Latest[Spot, Forecast] = field(default_factory=lambda: Latest("pulse", foresee))
    _mapped: Sky | None = None
    _sketched: tuple[tuple[str, int], Design] | None = None
    _stale_s: float = 0.0
    _since_look: float = 0.0
    _since_key: float = 0.0

    @property
    def papers(self) -> list[Paper]:
        """The arena, then the designs."""
        return [self.arena, *self.designs]

    @property
    def paper(self) -> Paper:
        """The file of the chosen design."""
        return self.designs[self.chosen]

    @property
    def design(self) -> Design:
        """The chosen design as its dials stand, be it possible or not."""
        paper = self.paper
        if self._sketched is None or self._sketched[0] != (paper.text, id(paper.spec)):
            self._sketched = ((paper.text, id(paper.spec)), sketch(paper.text, design_of(paper)))
        return self._sketched[1]

    @property
    def spec(self) -> ArenaSpec:
        """The arena that is shown: with a carried thing where it hangs, if it can be there."""
        if self.carried is None or self.carried.fault or self.carried.now.kind == "meter":
            return arena_of(self.arena)
        return with_thing(arena_of(self.arena), self.carried.now)

    @property
    def speed(self) -> float:
        """Seconds of the run that go by in a second."""
        return SPEEDS[self.speed_step]

    @property
    def seconds(self) -> float:
        """Length of the run that is shown, or will be [s]."""
        if self.raced is not None:
            return self.raced.replay.seconds
        return self.terms.seconds or arena_of(self.arena).lasts

    @property
    def until(self) -> float:
        """How far the run goes that is shown [s]."""
        return self.raced.until if self.raced is not None else self.seconds

    @property
    def fault(self) -> str:
        """What keeps a race from being run, or empty."""
        return next((paper.fault for paper in self.papers if paper.fault), self.race_fault)

    @property
    def is_stale(self) -> bool:
        """Whether the run on show is of something else than what lies on the bench."""
        return (self.races.busy and not self.is_live) or bool(self.fault)

    @property
    def is_live(self) -> bool:
        """Whether the run on show is still under way."""
        return self.raced is not None and self.raced.until < self.raced.replay.seconds

    @property
    def is_faded(self) -> bool:
        """Whether the run is shown as stale: after a while, so that quick runs do not make it flicker."""
        return self._stale_s > _PATIENCE

    @property
    def unsaved(self) -> list[Paper]:
        """The papers with changes that no file has."""
        return [paper for paper in self.papers if paper.is_changed]

    def things(self) -> list[Thing]:
        """What can be moved on the plan, the light meter first."""
        meter = Thing("meter", "light meter", METER, (self.meter,))
        return [meter, *things_of(arena_of(self.arena))]

    def chosen_thing(self) -> Thing:
        """What the keys move; the light meter where the arena has lost what was chosen."""
        return thing_of(self.things(), self.thing)

    def choose_design(self, number: int) -> None:
        """Show the dials of another design."""
        self.chosen = number % len(self.designs)
        self.foresee()

    def turn(self, dial: Dial, value: float, gesture: str) -> None:
        """Set a value of the chosen design, on the sides that the scope says."""
        scope = SCOPES[self.scope]
        path = dial.path_in(scope)
        try:
            text = rewrite_design(self.paper.text, {path: value})
        except WorkError as error:
            self.note = str(error)
            return
        if text != self.paper.text:
            self.paper.set_text(text)
            side = f" {scope}" if dial.two_sided and scope != "both" else ""
            self.commit(f"{dial.label}{side} {dial.words(value)}", f"{gesture} {path}")

    def turn_by(self, steps: int) -> None:
        """Turn the chosen dial by so many stops."""
        self._since_key = 0.0
        dial, value = DIALS[self.dial], self.dial_value(self.dial)
        if value is not None:
            self.turn(dial, dial.turned(value, steps), "keys")

    def dial_value(self, number: int) -> float | None:
        """Where a dial stands on the sides of the scope; tells of a part that the design has not."""
        dial, scope = DIALS[number], SCOPES[self.scope]
        missing = dial.value(self.design, scope) is None
        if scope == "both":
            missing = None in dial.values(self.design)
        if missing:
            self.note = f"this design leaves out its {dial.label}"
            return None
        return dial.value(self.design, scope)

    def carry(self, thing: Thing) -> None:
        """Take hold of a thing."""
        self.thing, self.on_plan = thing.path, True
        self.carried = Carried(thing, thing)

    def carry_to(self, across: float, along: float, exact: bool = False) -> None:
        """Hold the thing ``across`` and ``along`` [m] from where it was; on the grid unless ``exact``."""
        if self.carried is None:
            return
        origin = self.carried.origin
        now = origin.moved(across, along) if exact else snapped(origin, across, along)
        if now.points == self.carried.now.points:
            return
        self.carried = Carried(origin, now, self.fault_of(now))
        if not self.carried.fault:
            self.map_light()
            self.foresee()

    def let_fall(self, gesture: str = "") -> None:
        """Leave the thing where it hangs, or put it back where that cannot be."""
        carried, self.carried = self.carried, None
        if carried is None or carried.now.points == carried.origin.points:
            return
        if carried.fault:
            self.note = f"{carried.now.name} stays where it was: {carried.fault}"
            self.map_light()
            self.foresee()
        elif carried.now.kind == "meter":
            self.meter = carried.now.points[0]
            self.foresee()
        else:
            value = {carried.now.path: carried.now.value}
            try:
                self.arena.set_text(rewrite_values(self.arena.text, value, ArenaSpec))
            except WorkError as error:
                self.note = str(error)
                self.put_back()
            else:
                self.commit(f"{carried.now.name} moved", gesture)

    def put_back(self) -> None:
        """Let go of a thing without moving it."""
        self.carried = None
        self.map_light()
        self.foresee()

    def nudge(self, across: float, along: float) -> None:
        """Move the chosen thing by so much [m]."""
        self._since_key = 0.0
        thing = self.chosen_thing()
        self.carry(thing)
        self.carry_to(across, along, exact=True)
        self.let_fall(f"keys {thing.path}")

    def fault_of(self, thing: Thing) -> str:
        """Why a thing cannot be where it is, or empty."""
        if thing.kind == "meter":
            across, along = zip(*arena_of(self.arena).floor.outline, strict=True)
            x, y = thing.points[0]
            on_floor = min(across) <= x <= max(across) and min(along) <= y <= max(along)
            return "" if on_floor else "the meter lies on the floor"
        try:
            spec = with_thing(arena_of(self.arena), thing)
            if thing.kind in ("wall", "start", "zone"):
                check_room(self.contest(spec))
        except KeyedErrors as error:
            return why_not(error)
        except OptionError as error:
            return str(error)
        return ""

    def undo(self) -> None:
        """Take the last change back."""
        self._step(self.history.back(), "taken back", "nothing is left to take back")

    def redo(self) -> None:
        """Make a change again that was taken back."""
        self._step(self.history.forth(), "made again", "nothing was taken back")

    def _step(self, step: tuple[tuple[str, ...], str] | None, done: str, nothing: str) -> None:
        if step is None:
            self.note = nothing
            return
        texts, words = step
        # what is carried may be another thing, or none, in the text to come
        self.carried = None
        for paper, text in zip(self.papers, texts, strict=True):
            if text != paper.text:
                paper.set_text(text)
        self.refresh()
        self.note = f"{done}: {words}"

    def save(self, paper: Paper, path: Path) -> None:
        """Write a paper. Raises SpecError and OutputError; then nothing has changed."""
        paper.save(path)
        self.history.amend(tuple(one.text for one in self.papers))
        self.changed_on_disk = [one for one in self.changed_on_disk if one is not paper]
        self.refresh()
        self.note = f"saved as {path}"

    def load_changed(self) -> None:
        """Take what the disk holds of the files that have changed there."""
        papers, self.changed_on_disk = self.changed_on_disk, []
        if papers and self.carried is not None:
            self.put_back()
        for paper in papers:
            try:
                paper.load()
            except InputError as error:
                paper.keep()
                self.note = f"{paper.path.name} stays as it is here: {first_line(str(error))}"
            else:
                self.commit(f"{paper.path.name} loaded anew")

    def keep_own(self) -> None:
        """Stay with what lies on the bench although files have changed."""
        for paper in self.changed_on_disk:
            paper.keep()
        self.changed_on_disk = []
        self.note = "kept as it is here"

    def contest(self, spec: ArenaSpec | None = None) -> Contest:
        """What lies on the bench as a contest, or with another arena. Raises OptionError."""
        entrants = [Entrant(design_of(paper), paper.text) for paper in self.designs]
        return contest_of(spec or arena_of(self.arena), self.arena.text, entrants, self.terms)

    def commit(self, words: str, gesture: str = "") -> None:
        """A paper's text has changed: keep a step of it and work everything out anew."""
        self.history.note(tuple(paper.text for paper in self.papers), words, gesture)
        self.refresh()
        self.note = words

    def refresh(self) -> None:
        """Ask for all that depends on the papers."""
        self.map_light()
        self.foresee()
        self.race_fault = ""
        if any(paper.fault for paper in self.papers):
            self.races.drop()
            return
        try:
            self.races.ask(Race(self.contest(), self.terms.threads))
        except OptionError as error:
            self.races.drop()
            self.race_fault = str(error)

    def map_light(self) -> None:
        """Ask for the map of light, unless nothing that casts, stops or takes up light has changed."""
        # at the height at which a replay of these designs has it
        height = float(np.median([design_of(paper).panel.height for paper in self.designs]))
        sky = Sky(self.spec, height)
        mapped = self._mapped
        if (
            mapped is None
            or sky.height != mapped.height
            or any(
                getattr(sky.spec, key) != getattr(mapped.spec, key)
                for key in ("floor", "walls", "shades", "lamps", "sun", "ambient", "cell")
            )
        ):
            self._mapped = sky
            self.skies.ask(sky)

    def foresee(self) -> None:
        """Ask what a pulse of the chosen design will be at the light meter."""
        place = self.meter
        if self.carried is not None and self.carried.now.kind == "meter" and not self.carried.fault:
            place = self.carried.now.points[0]
        self.spots.ask(Spot(self.spec, design_of(self.paper), place))

    def advance(self, elapsed_s: float) -> None:
        """Let ``elapsed_s`` [s] of the viewer's time go by, and take in what has been worked out."""
        self._take_results()
        self._stale_s = self._stale_s + elapsed_s if self.is_stale else 0.0
        self._since_key += elapsed_s
        if self._since_key > _PAUSE:
            self.history.end_gesture()
        self._since_look += elapsed_s
        if self._since_look >= _LOOK:
            self._since_look = 0.0
            self.look_at_disk()
        if self.playing:
            self.go_to(self.time_s + elapsed_s * self.speed)
            self.playing = self.time_s < self.seconds or self.is_live

    def _take_results(self) -> None:
        race = self.races.take()
        if race is not None:
            self.race_fault = race.fault
            if race.result is not None:
                self._show_run(race.result)
        elif self.races.so_far is not None and (self.raced is None or self.is_live):
            # there is no older run to look at meanwhile
            self._show_run(self.races.so_far)
        sky = self.skies.take()
        if sky is not None and sky.result is not None:
            self.light = sky.result
        spot = self.spots.take()
        if spot is not None:
            self.forecast = spot.result

    def _show_run(self, raced: Raced) -> None:
        if self.raced is raced:
            return
        # whoever looks at the whole run goes on doing so
        shows_all = self.raced is None or (self.time_s >= self.until and not self.playing)
        if self.raced is not None and self.raced.scores:
            self.before = self.raced.scores
        self.raced = raced
        self.go_to(self.until if shows_all else self.time_s)

    def look_at_disk(self) -> None:
        """See whether the files are still those that were read or saved."""
        for paper in self.papers:
            if paper not in self.changed_on_disk and paper.foreign() is not None:
                self.changed_on_disk.append(paper)

    def go_to(self, time_s: float) -> None:
        """Show another time of the run [s]."""
        self.time_s = min(max(time_s, 0.0), self.until)

    def play(self) -> None:
        """Play, from the start if the end is shown; or stop."""
        if not self.playing and self.time_s >= self.until:
            self.time_s = 0.0
        self.playing = not self.playing

    def close(self) -> None:
        """End it: what is under way is stopped, and nothing is written."""
        self.closed = True
        for work in (self.races, self.skies, self.spots):
            work.close()

    def join(self, timeout_s: float | None = None) -> bool:
        """Wait for the threads to end, each at most ``timeout_s`` [s]; returns whether they have."""
        ended = [work.join(timeout_s) for work in (self.races, self.skies, self.spots)]
        return all(ended)
