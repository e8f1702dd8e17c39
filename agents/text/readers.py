"""What every annotation of a spec's field shares, and the readers of words.

A reader takes the text of a file, or a value from Python, and gives what the program works with; a value it
cannot use is refused with what was got and what is expected.
"""

from abc import abstractmethod
from dataclasses import dataclass
from typing import Any

from pydantic import GetCoreSchemaHandler
from pydantic_core import CoreSchema, PydanticCustomError, core_schema

from agents.errors import REFUSAL, nearest, refusal

# Longer text holds no number that a person wrote.
_LONGEST = 60


class QuantityError(ValueError):
    """A value that cannot be used: what was got, what is expected, and the nearest right text or empty."""

    def __init__(self, got: str, expected: str, near: str = "") -> None:
        self.got, self.expected, self.near = got, expected, near
        super().__init__(refusal(got, expected))


def quote(text: str) -> str:
    """Return text for a message: quoted, in one line, cut short; ``nothing`` for empty text."""
    if not text:
        return "nothing"
    shown = text if len(text) <= _LONGEST else text[: _LONGEST - 3] + "..."
    return repr(shown)


def sort_of(value: Any) -> str:
    """Name the sort of a value that is no text, for a message."""
    if value is None:
        return "nothing"
    if isinstance(value, dict):
        return "a map"
    return "a list" if isinstance(value, list | tuple) else repr(value)[:_LONGEST]


def with_article(word: str) -> str:
    """Return a word with its article, for a message: an arena, a design."""
    return f"{'an' if word[0] in 'aeiou' else 'a'} {word}"


@dataclass(frozen=True)
class Reader:
    """Base of the annotations: reads text, checks what comes from Python, and says what it expects."""

    @property
    def unit_text(self) -> str:
        """The unit for a table of all fields, or empty."""
        return ""

    @property
    def may_be_long(self) -> bool:
        """Tell whether its text may be longer than a line."""
        return False

    @property
    def range_text(self) -> str:
        """The range for a table of all fields, or empty."""
        return ""

    @property
    @abstractmethod
    def expected(self) -> str:
        """What a right value looks like."""

    @abstractmethod
    def parse(self, text: str) -> Any:
        """Read text. Raises QuantityError."""

    @abstractmethod
    def check(self, value: Any) -> Any:
        """Check a value that is in SI already. Raises QuantityError."""

    @abstractmethod
    def show(self, value: Any) -> str:
        """Print a value as one would write it in a file."""

    def json_form(self) -> dict[str, Any]:
        """The text that it reads as a JSON Schema, as far as that has words for it."""
        # an editor takes text that looks like a number for one
        return {"type": ["string", "number"], "minLength": 1}

    def read(self, value: Any) -> Any:
        """Read text, or check anything else. Raises QuantityError."""
        if not isinstance(value, str):
            return self.check(value)
        text = value.strip()
        if len(text) > _LONGEST and not self.may_be_long:
            raise QuantityError(quote(text), self.expected)
        return self.parse(text)

    def _refuse(self, text: str, expected: str = "", near: str = "") -> QuantityError:
        return QuantityError(quote(text), expected or self.expected, near)

    def _validate(self, value: Any) -> Any:
        try:
            return self.read(value)
        except QuantityError as error:
            context = {"got": error.got, "expected": error.expected, "near": error.near}
            raise PydanticCustomError("photodrome", REFUSAL, context) from None

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        """Tell pydantic to leave reading and checking to this annotation."""
        return core_schema.no_info_plain_validator_function(self._validate)


@dataclass(frozen=True)
class OrNone:
    """Lets a file say ``none`` for a part that is left out, in ``Annotated[Part | None, OrNone()]``."""

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        """Tell pydantic to read the word before the part itself is read."""
        return core_schema.no_info_before_validator_function(
            lambda value: None if value == "none" else value, handler(source)
        )


@dataclass(frozen=True)
class Word(Reader):
    """One word out of a list of ``choices``; ``same`` holds further words, and those that they stand for."""

    choices: tuple[str, ...]
    same: tuple[tuple[str, str], ...] = ()

    @property
    def expected(self) -> str:
        return f"one of {', '.join(self.choices)}"

    @property
    def range_text(self) -> str:
        return ", ".join(self.choices)

    def parse(self, text: str) -> str:
        """Return the word, or the one of the choices that it stands for."""
        text = dict(self.same).get(text, text)
        if text not in self.choices:
            words = (*self.choices, *(word for word, _ in self.same))
            raise self._refuse(text, near=nearest(text, words))
        return text

    def check(self, value: Any) -> Any:
        raise QuantityError(sort_of(value), self.expected)

    def json_form(self) -> dict[str, Any]:
        return {"enum": [*self.choices, *(word for word, _ in self.same)]}

    def show(self, value: Any) -> str:
        return str(value)
