"""Pages out of templates, everything that comes from a file or a person escaped, and the file of a page."""

from functools import cache
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import TYPE_CHECKING, Any

from agents.errors import OptionError
from arena.reports.paper import COLOURS, hex_of
from replays.format.whole_files import write_whole

if TYPE_CHECKING:
    from jinja2 import Environment


PAPERS = "papers.html"
"""What the file of a race's papers is called."""

# How every page of ours begins, by which it is told from what somebody else put there.
_GENERATOR = '<meta name="generator" content="photodrome'


@cache
def _environment() -> "Environment":
    from jinja2 import Environment, PackageLoader, StrictUndefined

    made = Environment(
        loader=PackageLoader("arena.reports", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=_clean,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    made.globals["colours"] = {name: hex_of(name) for name in COLOURS}
    made.globals["program"] = f"photodrome {_program_version()}"
    made.filters["sentence"] = as_sentence
    made.filters["capital"] = lambda text: as_sentence(text).removesuffix(".")
    return made


def _clean(value: Any) -> Any:
    # a text that is markup already keeps its type, by which jinja tells that it is not to be escaped
    return plain_letters(value) if type(value) is str else value


def _program_version() -> str:
    try:
        return version("photodrome")
    except PackageNotFoundError:
        # run from its folder, without having been installed
        return ""


def plain_letters(text: str) -> str:
    """``text`` with blanks for what no page may hold: control letters, halves of pairs, no letters at all.

    >>> plain_letters("a\\x00b\\x1b[1m")
    'a b [1m'
    """
    return "".join(" " if _is_unfit(letter) else letter for letter in text)


def _is_unfit(letter: str) -> bool:
    code = ord(letter)
    return (
        code < 0x20
        or 0x7F <= code < 0xA0
        or 0xD800 <= code < 0xE000
        or 0xFDD0 <= code <= 0xFDEF
        or code & 0xFFFE == 0xFFFE
    )


def as_sentence(text: str) -> str:
    """``text`` with a capital letter in front, and a full stop at its end.

    >>> as_sentence("the latch holds")
    'The latch holds.'
    """
    text = text.strip()
    return text if not text else f"{text[0].upper()}{text[1:]}{'' if text[-1] in '.!?' else '.'}"


def rendered(template: str, **values: Any) -> str:
    """The page that ``template`` makes of ``values``; what is no :class:`markupsafe.Markup` is escaped."""
    return _environment().get_template(template).render(**values)


def is_ours(path: Path) -> bool:
    """Whether the file at ``path`` is a page that this program made."""
    try:
        with path.open("rb") as stream:
            return _GENERATOR.encode() in stream.read(1000)
    except OSError:
        return False


def check_page_name(out: Path) -> None:
    """Refuse a report that would not be opened as a page. Raises OptionError."""
    if out.suffix.lower() not in (".html", ".htm"):
        raise OptionError(f"{out}: a report is a page of HTML; expected a name that ends in .html")


def write_page(page: str, out: Path) -> None:
    """Put a page at ``out``, whole or not at all. Raises OutputError."""
    write_whole(out, page.encode("utf-8"))
