"""The options of the command line: values read by the same strict readers as those of files."""

import re
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

if TYPE_CHECKING:
    from agents.text.readers import Reader
    from replays.format.tables import Replay

    AnyType = click.ParamType[Any]
else:
    # older releases of click know no such parameter
    AnyType = click.ParamType

Command = TypeVar("Command", bound=Callable[..., Any])

# The coldest and the hottest air [K], those of agents.handbook.temperature, told here so that --help need not
# fetch them.
_AIR = {"least": 233.15, "most": 358.15}

_PLAIN_NUMBER = re.compile(r"[-+]?[0-9.]+(?:[eE][-+]?[0-9]+)?")


class Value(AnyType):
    """A value that one of the readers of agents reads, made when it is needed."""

    def __init__(self, name: str) -> None:
        self.name = name

    def reader(self) -> "Reader":
        """The reader of the text."""
        raise NotImplementedError

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """Read it, or fail with what is expected."""
        return self._read(value, "", param, ctx)

    def _read(
        self, value: Any, or_else: str, param: click.Parameter | None, ctx: click.Context | None
    ) -> Any:
        from agents.errors import refusal
        from agents.text.readers import QuantityError

        try:
            return self.reader().read(value)
        except QuantityError as error:
            self.fail(refusal(error.got, f"{or_else}{error.expected}", error.near), param, ctx)


class Renamed(click.Option):
    """An option with a former name, which still works, is not in the help, and is told on stderr.

    What goes out with the next version: the former name.
    """

    def __init__(self, declarations: Sequence[str], formerly: str, **how: Any) -> None:
        super().__init__(declarations, **how)
        self.formerly = formerly

    def add_to_parser(self, parser: Any, ctx: click.Context) -> None:
        """Let the parser take both names."""
        super().add_to_parser(parser, ctx)
        action: dict[str, Any] = (
            {"action": "store_const", "const": True} if self.is_flag else {"action": "store"}
        )
        parser.add_option(obj=self, opts=[self.formerly], dest=self.formerly, nargs=self.nargs, **action)

    def handle_parse_result(self, ctx: click.Context, opts: Any, args: list[str]) -> Any:
        """Take what the former name was given, and tell the new one."""
        if self.formerly in opts:
            if self.name in opts:
                raise click.UsageError(f"{self.formerly} is {self.opts[0]} by its former name; give one", ctx)
            click.echo(f"{self.formerly} is now called {self.opts[0]}", err=True)
            opts = {**opts, self.name: opts[self.formerly]}
        return super().handle_parse_result(ctx, opts, args)


class Measured(Value):
    """A value with its unit, like ``3klx``."""

    def __init__(self, name: str, unit: str, **bounds: float) -> None:
        super().__init__(name)
        self.unit, self.bounds = unit, bounds

    def reader(self) -> "Reader":
        """The reader of the text."""
        from agents.text.quantities import Quantity

        return Quantity(self.unit, **self.bounds)


class Range(Measured):
    """Two values with their units and two dots between, like ``0 degC..40 degC``, the smaller one first."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """Read it, or fail with what is expected."""
        if not isinstance(value, str):
            return value
        first, dots, last = value.partition("..")
        if not dots:
            self.fail(
                f"got {value!r}, expected two values with dots between, like 0 degC..40 degC", param, ctx
            )
        ends = self._read(first.strip(), "", param, ctx), self._read(last.strip(), "", param, ctx)
        if ends[0] > ends[1]:
            self.fail(f"got {value!r}, which is upside down, expected the colder one first", param, ctx)
        return ends


class Seconds(Measured):
    """A time with its unit, or a number of seconds alone."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """Read it, or fail with what is expected."""
        if isinstance(value, str) and _PLAIN_NUMBER.fullmatch(value.strip()):
            value = f"{value.strip()} s"
        return self._read(value, "a number of seconds, or ", param, ctx)


class Whole(Value):
    """A whole number."""

    def __init__(self, least: int, most: int) -> None:
        super().__init__("number")
        self.least, self.most = least, most

    def reader(self) -> "Reader":
        """The reader of the text."""
        from agents.text.quantities import Number

        return Number(whole=True, least=self.least, most=self.most)


class Plain(Value):
    """A number without a unit."""

    def __init__(self, most: float, least: float | None = None, above: float | None = None) -> None:
        super().__init__("number")
        self.most, self.least, self.above = most, least, above

    def reader(self) -> "Reader":
        """The reader of the text."""
        from agents.text.quantities import Number

        return Number(least=self.least, above=self.above, most=self.most)


class OneOf(Value):
    """One of some words."""

    def __init__(self, name: str, *words: str) -> None:
        super().__init__(name)
        self.words = words

    def reader(self) -> "Reader":
        """The reader of the text."""
        from agents.text.readers import Word

        return Word(self.words)


class Kind(Value):
    """A kind of light."""

    def reader(self) -> "Reader":
        """The reader of the text."""
        from agents.handbook.light_kinds import KINDS, SAME_KINDS
        from agents.text.readers import Word

        return Word(KINDS, tuple(SAME_KINDS.items()))


def shipped(*kinds: str) -> Callable[[click.Context, click.Parameter, str], list[Any]]:
    """What a shell completes where a shipped name of these kinds, or a path, is wanted."""

    def complete(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[Any]:
        from click.shell_completion import CompletionItem

        from agents.text.shipped import shipped_names

        names = [name for kind in kinds for name in shipped_names(kind) if name.startswith(incomplete)]
        # where no name fits, the shell looks for files
        return [CompletionItem(name) for name in names] or [CompletionItem(incomplete, type="file")]

    return complete


def as_json(function: Command) -> Command:
    """Give a command the option --json."""
    return click.option("--json", "to_json", is_flag=True, help="Print JSON in place of tables.")(function)


def theme_option(function: Command) -> Command:
    """Give a command the option --theme."""
    # the names of replays.drawing.theme.THEMES, told here so that --help need not fetch them
    words = OneOf("theme", "light", "dark")
    option = click.option(
        "--theme", type=words, default="light", show_default=True, help="Paper to draw on: light or dark."
    )
    return option(function)


def walker_called(replay: "Replay", name: str | None) -> int | None:
    """The number of the walker that goes by ``name``, None for no name. Raises OptionError."""
    from agents.errors import OptionError
    from replays.drawing.figures import walker_name

    if name is None:
        return None
    names = [walker_name(replay, walker) for walker in range(len(replay.walkers))]
    found = [walker for walker, one in enumerate(names) if one.casefold() == name.strip().casefold()]
    if not found:
        raise OptionError(
            f"no walker is called {name!r}; there are {', '.join(names[:6])}{' …' * (len(names) > 6)}"
        )
    return found[0]


def cause_ticker(replay: "Replay", walker: int | None) -> Callable[[float, float], str]:
    """What tells the causes of pulses along a film: those of ``walker``, or None for all of them."""
    from replays.causes.cause_ticker import CauseTicker
    from replays.drawing.figures import walker_name

    names = [walker_name(replay, one) for one in range(len(replay.walkers))]
    return CauseTicker(replay, names, walker).words


def ticker_option(function: Command) -> Command:
    """Give a command the option --ticker."""
    told = "Tell at the foot why walkers fire the side they do; with --yours, that walker alone."
    return click.option("--ticker", is_flag=True, help=told)(function)


def projector_option(function: Command) -> Command:
    """Give a command the option --projector."""
    option = click.option(
        "--projector",
        is_flag=True,
        help="For a whole room: large letters, names, who leads, the finish slowly and once more.",
    )
    yours = click.option(
        "--yours", help="With --projector: a walker that is told in any case, like 'poppy 3'."
    )
    return option(yours(function))


def report_option(function: Command) -> Command:
    """Give a command the option --report."""
    return click.option(
        "--report",
        type=click.Path(dir_okay=False, path_type=Path),
        help="HTML file for a page to show and to print; needs no network.",
    )(function)


def drawer_option(function: Command) -> Command:
    """Give a command the option --drawer."""
    return click.option(
        "--drawer",
        help="Drawer of parts to keep to: a file of your own, or a shipped name like potting-shed.",
        shell_complete=shipped("drawer"),
    )(function)


def kind_option(function: Command) -> Command:
    """Give a command the option --kind."""
    return click.option(
        "--kind",
        type=Kind("kind"),
        default="sun",
        show_default=True,
        help="Kind of light, as an arena's lamps have.",
    )(function)


def light_range_options(function: Command) -> Command:
    """Give a command the options --from and --to: the dimmest and the brightest light [lx]."""
    for name, variable, usual, words in (
        ("--to", "to_lx", "20 klx", "Brightest light in which it has to."),
        ("--from", "from_lx", "1 klx", "Dimmest light in which it has to work."),
    ):
        function = click.option(
            name,
            variable,
            type=Measured("light", "lx", above=0.0, most=1e6),
            default=usual,
            show_default=True,
            help=words,
        )(function)
    return function


def air_options(function: Command) -> Command:
    """Give a command the options --at and --between, temperatures of the air [K]."""
    between = click.option(
        "--between",
        type=Range("range", "K", **_AIR),
        help="Air in which it is asked to work, like '0 degC..40 degC'; -20 to 60 degC if left out.",
    )
    return air_option(between(function))


def air_option(function: Command) -> Command:
    """Give a command the option --at, the temperature of the air [K]."""
    return click.option(
        "--at",
        "air",
        type=Measured("temperature", "K", **_AIR),
        default="25 degC",
        show_default=True,
        help="Temperature of the air, like '35 degC'; light warms the panel above it.",
    )(function)


def threads_option(function: Command) -> Command:
    """Give a command the option --threads."""
    return click.option("--threads", type=Whole(1, 1024), help="Threads to use; all cores if left out.")(
        function
    )


def why_option(function: Command) -> Command:
    """Give a command the options --why and --tries."""
    for option in (
        click.option(
            "--tries",
            type=Whole(0, 200),
            default=40,
            show_default=True,
            help="Changes tried for each walker, in this same race, to tell why; 0 for none, which is quick.",
        ),
        click.option(
            "--why",
            is_flag=True,
            help="Tell of each walker where its time went, what pulse decided, and which change gains most.",
        ),
    ):
        function = option(function)
    return function


def contest_options(function: Command) -> Command:
    """Give a command the options that say how a contest is run."""
    for option in (
        threads_option,
        click.option(
            "--alone",
            is_flag=True,
            help="Give every walker the arena to itself; copy k of each design starts at the same place.",
        ),
        click.option(
            "--seed",
            type=Whole(0, 2**63 - 1),
            default=1,
            show_default=True,
            help="Number from which all chance follows; the same seed gives the same run.",
        ),
        click.option(
            "--duration",
            cls=Renamed,
            formerly="--seconds",
            type=Seconds("time", "s", above=0.0, most=1e6),
            help="How long the run lasts, like 600 or '10 min'; as the arena says if left out.",
        ),
        click.option(
            "--walkers",
            type=Whole(1, 10_000),
            help="Built copies of each design; as many as the arena says if left out.",
        ),
    ):
        function = option(function)
    return function
