"""Dates, clocks and offsets, read strictly."""

from datetime import UTC, date, datetime

import pytest

from agents.text.dates import CalendarDate, Clock, UtcOffset, clock_text
from agents.text.readers import QuantityError, Reader

DAY = CalendarDate(1950, 2050)


@pytest.mark.parametrize(
    ("reader", "text", "value"),
    [
        (DAY, "2026-06-21", date(2026, 6, 21)),
        (DAY, "2024-02-29", date(2024, 2, 29)),
        (Clock(), "06:30", 23400.0),
        (Clock(), "6:30", 23400.0),
        (Clock(), "18:05:30", 65130.0),
        (Clock(), "24:00", 86400.0),
        (UtcOffset(), "UTC", 0.0),
        (UtcOffset(), "UTC+2", 7200.0),
        (UtcOffset(), "UTC-3:30", -12600.0),
        (UtcOffset(), "UTC+14", 50400.0),
    ],
)
def test_read_and_written_back(reader: Reader, text: str, value: object) -> None:
    assert reader.read(text) == value
    assert reader.read(reader.show(value)) == value
    assert reader.read(value) == value


@pytest.mark.parametrize(
    ("reader", "text"),
    [
        (DAY, "2026-02-29"),
        (DAY, "2026-13-01"),
        (DAY, "2026-00-10"),
        (DAY, "2026-6-1"),
        (DAY, "21.06.2026"),
        (DAY, "1949-12-31"),
        (DAY, "2051-01-01"),
        (DAY, "today"),
        (Clock(), "24:01"),
        (Clock(), "12:60"),
        (Clock(), "12"),
        (Clock(), "6:30 pm"),
        (Clock(), "-1:00"),
        (UtcOffset(), "UTC+15"),
        (UtcOffset(), "UTC-12:30"),
        (UtcOffset(), "+2"),
        (UtcOffset(), "CEST"),
        (UtcOffset(), "UTC+2:75"),
    ],
)
def test_refused(reader: Reader, text: str) -> None:
    with pytest.raises(QuantityError):
        reader.read(text)


def test_the_fault_of_a_date_tells_how_long_the_month_is() -> None:
    with pytest.raises(QuantityError, match="that month has 30 days"):
        DAY.read("2026-06-31")


def test_values_of_other_sorts_are_refused() -> None:
    for reader, value in ((DAY, 2026), (Clock(), True), (Clock(), 1e6), (UtcOffset(), None), (DAY, None)):
        with pytest.raises(QuantityError):
            reader.check(value)


def test_clock_texts_against_the_standard_library() -> None:
    for seconds in (0.0, 59.9, 60.0, 23400.4, 86399.9):
        known = datetime.fromtimestamp(int(seconds), UTC)
        assert clock_text(seconds) == f"{known:%H:%M}"
        assert clock_text(seconds, with_seconds=True) == f"{known:%H:%M:%S}"
    assert clock_text(86400.0) == "24:00"
