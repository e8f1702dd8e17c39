"""A race as it is to be run: its file read, with the arenas that it names."""

from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path

from agents.drawer.contents import Drawer, parse_drawer
from agents.errors import NotFoundError, SpecError
from agents.text.keyed_errors import KeyedError, UnreadError
from agents.text.marked_yaml import KeyPath, read_text
from agents.text.shipped import find_document, shipped_names
from agents.text.spec_reading import fault_at, parse_parts
from arena.races.entries import other_kind
from arena.races.race_form import CourseForm, RaceForm, RulesForm
from arena.races.results import ARRIVAL, LIGHT, CourseWords
from arena.races.rules import rule_faults
from arena.scene.spec import ArenaSpec, parse_arena
from arena.studies.plans.plan_reading import files_beside

DEFAULT_COURSE = "sprint"
"""The shipped race that is run where none is named."""


@dataclass(frozen=True)
class RaceCourse:
    """An arena, with the text of its file, to race in.

    ``by`` is what decides, ``seconds`` [s] how long each stage lasts, ``dims`` the share of the arena's light
    in each stage.
    """

    arena: ArenaSpec
    text: str
    by: str
    seconds: float
    dims: tuple[float, ...]

    @property
    def words(self) -> CourseWords:
        """How it is told."""
        return CourseWords(self.arena.name, self.arena.about or "", self.by, self.seconds, self.dims)


@dataclass(frozen=True)
class RacePlan:
    """What a race's file says; ``folder`` is where it lies, ``file`` what it is called.

    ``drawer`` is that of its rules, if they name one.
    """

    form: RaceForm
    courses: tuple[RaceCourse, ...]
    folder: Path
    file: str
    drawer: Drawer | None = None

    @property
    def entries(self) -> tuple[str, ...]:
        """Where its entries are, from the working folder; none where the command names them."""
        found = []
        for name in self.form.entries or ():
            beside = self.folder / name
            found.append(str(beside) if not Path(name).is_absolute() else name)
        return tuple(found)

    def changed(self, **values: object) -> "RacePlan":
        """The plan with some values of its form replaced, as the command says; None changes nothing."""
        return replace(
            self, form=self.form.model_copy(update={k: v for k, v in values.items() if v is not None})
        )


def read_race(name_or_path: str | Path) -> RacePlan:
    """Read a shipped race by its name, or an own one by its path.

    Raises SpecError with all that is wrong with it, and NotFoundError.
    """
    path = find_document(str(name_or_path), "race")
    return parse_race(read_text(path, str(path)), str(path), path.parent)


def parse_race(text: str, file: str, folder: Path) -> RacePlan:
    """Read a race from the ``text`` of its file, which lies in ``folder``. Raises SpecError."""
    parts = parse_parts(text, file, RaceForm, "race")
    form, faults, more = parts.spec, list(parts.faults), parts.more

    def tell(path: KeyPath, got: str, expected: str, near: str = "") -> None:
        faults.append(fault_at(file, parts.tree, path, got, expected, near))

    courses: list[RaceCourse] = []
    drawer: Drawer | None = None
    with suppress(UnreadError):
        for number, one in enumerate(form.courses):
            try:
                with suppress(UnreadError):
                    courses.append(course_of(one, folder))
            except KeyedError as error:
                tell(("courses", number, "arena"), error.got, error.expected)
            except SpecError as error:
                faults += error.faults
                more += error.more
    with suppress(UnreadError):
        for wrong in rule_faults(form.rules):
            tell(("rules", *wrong.path), wrong.got, wrong.expected, wrong.near)
        try:
            drawer = _drawer_of(form.rules, folder)
        except NotFoundError as error:
            tell(("rules", "drawer"), str(error), "a drawer")
        except SpecError as error:
            faults += error.faults
            more += error.more
    if faults:
        raise SpecError(dict.fromkeys(faults), more)
    return RacePlan(form, tuple(courses), folder, file, drawer)


def _drawer_of(rules: RulesForm, folder: Path) -> Drawer | None:
    """The drawer that rules name. Raises NotFoundError where it is not there, SpecError if it is faulty."""
    if rules.drawer is None:
        return None
    file, text = files_beside(folder)(rules.drawer, "drawer")
    return parse_drawer(text, file)


def course_of(form: CourseForm, folder: Path) -> RaceCourse:
    """The course of a form. Raises KeyedError where its arena is not there, SpecError where it is faulty."""
    try:
        file, text = files_beside(folder)(form.arena, "arena")
    except NotFoundError as error:
        raise KeyedError((), str(error), "an arena") from None
    arena = parse_arena(text, file)
    if form.by == ARRIVAL and not arena.goals:
        raise KeyedError(
            (), f"{form.arena}, which has no goal", "an arena with a goal, or another by: beside it"
        )
    return RaceCourse(arena, text, form.by, form.lasts or arena.lasts, form.dims)


def race_on(name: str) -> RacePlan:
    """The race on a course: that of a race, or a time trial in an arena, by shipped name or by path.

    In an arena without a goal most light decides. Raises NotFoundError, SpecError.
    """
    is_own = "/" in name or "\\" in name or name.lower().endswith((".yaml", ".yml"))
    if is_own:
        kind = other_kind(read_text(find_document(name, "race"), name))
        is_arena = kind == "arena"
    else:
        is_arena = name in shipped_names("arena") and name not in shipped_names("race")
    if not is_arena:
        return read_race(name)
    path = find_document(name, "arena")
    text = read_text(path, str(path))
    arena = parse_arena(text, str(path))
    form = CourseForm(arena=name, by=ARRIVAL if arena.goals else LIGHT)
    course = RaceCourse(arena, text, form.by, arena.lasts, form.dims)
    return RacePlan(RaceForm(name=arena.name, courses=(form,)), (course,), Path(), name)
