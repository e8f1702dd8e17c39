"""Readers of dates, clocks and the offset of a clock from universal time.

Forms of ISO 8601: a date is ``2026-06-21``, a clock ``06:30`` or ``06:30:15`` from 00:00 to 24:00. The offset
is fixed, like ``UTC+2``: who means summer time writes its offset, and no table of time zones, which
governments change, decides what a file means.
"""

import calendar
import re
from dataclasses import dataclass
from datetime import date
from typing import Any

from agents.text.readers import QuantityError, Reader, sort_of

_MINUTE, _HOUR, _DAY = 60, 3600, 86400
# From the clocks farthest west to those farthest east [s].
_LEAST_OFFSET, _MOST_OFFSET = -12 * _HOUR, 14 * _HOUR


@dataclass(frozen=True)
class CalendarDate(Reader):
    """A date of the Gregorian calendar from ``first`` to ``last``, both years included."""

    first: int
    last: int

    @property
    def range_text(self) -> str:
        return f"{self.first}-01-01 to {self.last}-12-31"

    @property
    def expected(self) -> str:
        return f"a date as year-month-day, like {self.last - 24}-06-21, {self.range_text}"

    def parse(self, text: str) -> date:
        """Return the date."""
        match = re.fullmatch(r"([0-9]{4})-([0-9]{2})-([0-9]{2})", text)
        if match is None:
            raise self._refuse(text)
        year, month, day = (int(part) for part in match.groups())
        if not (self.first <= year <= self.last and 1 <= month <= 12):
            raise self._refuse(text)
        days = calendar.monthrange(year, month)[1]
        if not 1 <= day <= days:
            raise self._refuse(text, f"a date; that month has {days} days")
        return date(year, month, day)

    def check(self, value: Any) -> date:
        if not isinstance(value, date) or not self.first <= value.year <= self.last:
            raise QuantityError(sort_of(value), self.expected)
        return value

    def json_form(self) -> dict[str, Any]:
        return {"type": "string", "pattern": r"^\s*[0-9]{4}-[0-9]{2}-[0-9]{2}\s*$"}

    def show(self, value: Any) -> str:
        return str(value)


@dataclass(frozen=True)
class Clock(Reader):
    """What a clock shows, ``06:30`` or ``06:30:15``; gives seconds since midnight."""

    @property
    def range_text(self) -> str:
        return "00:00 to 24:00"

    @property
    def expected(self) -> str:
        return f"a time of the day like 06:30 or 18:05:30, {self.range_text}"

    def parse(self, text: str) -> float:
        """Return seconds since midnight [s]."""
        match = re.fullmatch(r"([0-9]{1,2}):([0-9]{2})(?::([0-9]{2}))?", text)
        if match is None:
            raise self._refuse(text)
        hours, minutes, seconds = (int(part or 0) for part in match.groups())
        since = hours * _HOUR + minutes * _MINUTE + seconds
        if minutes > 59 or seconds > 59 or since > _DAY:
            raise self._refuse(text)
        return float(since)

    def check(self, value: Any) -> float:
        if isinstance(value, bool) or not isinstance(value, int | float) or not 0 <= value <= _DAY:
            raise QuantityError(sort_of(value), self.expected)
        return float(value)

    def json_form(self) -> dict[str, Any]:
        return {"type": "string", "pattern": r"^\s*[0-9]{1,2}:[0-9]{2}(?::[0-9]{2})?\s*$"}

    def show(self, value: Any) -> str:
        return clock_text(value, with_seconds=value % _MINUTE != 0)


@dataclass(frozen=True)
class UtcOffset(Reader):
    """By how much a clock is ahead of universal time: ``UTC``, ``UTC+2``, ``UTC-3:30``; gives seconds."""

    @property
    def range_text(self) -> str:
        return "UTC-12 to UTC+14"

    @property
    def expected(self) -> str:
        return (
            f"a fixed offset of the clock, like UTC+2 or UTC-3:30, {self.range_text}; "
            "in summer time the summer's"
        )

    def parse(self, text: str) -> float:
        """Return the offset [s]."""
        match = re.fullmatch(r"UTC(?:([+-])([0-9]{1,2})(?::([0-9]{2}))?)?", text)
        if match is None:
            raise self._refuse(text)
        sign, hours, minutes = match.groups()
        ahead = int(hours or 0) * _HOUR + int(minutes or 0) * _MINUTE
        ahead = -ahead if sign == "-" else ahead
        if int(minutes or 0) > 59 or not _LEAST_OFFSET <= ahead <= _MOST_OFFSET:
            raise self._refuse(text)
        return float(ahead)

    def check(self, value: Any) -> float:
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise QuantityError(sort_of(value), self.expected)
        if not _LEAST_OFFSET <= value <= _MOST_OFFSET:
            raise QuantityError(str(value), self.expected)
        return float(value)

    def json_form(self) -> dict[str, Any]:
        return {"type": "string", "pattern": r"^\s*UTC(?:[+-][0-9]{1,2}(?::[0-9]{2})?)?\s*$"}

    def show(self, value: Any) -> str:
        hours, minutes = divmod(round(abs(value) / _MINUTE), 60)
        if hours == minutes == 0:
            return "UTC"
        return f"UTC{'-' if value < 0 else '+'}{hours}" + (f":{minutes:02d}" if minutes else "")


def clock_text(seconds: float, with_seconds: bool = False) -> str:
    """Return what a clock shows ``seconds`` [s] after a midnight; midnight at the end of a day is 24:00.

    >>> clock_text(6.5 * 3600.0), clock_text(86399.9, with_seconds=True)
    ('06:30', '23:59:59')
    """
    whole = int(seconds)
    hours, rest = divmod(whole, _HOUR)
    text = f"{hours:02d}:{rest // _MINUTE:02d}"
    return f"{text}:{rest % _MINUTE:02d}" if with_seconds else text
