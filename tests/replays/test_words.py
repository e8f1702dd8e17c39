"""Light, lengths, times and sizes in words."""

import pytest

from replays.words import bytes_words, clock_words, length_words, light_words, time_words


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        (light_words(0.5), "0.5 lx"),
        (light_words(999.0), "999 lx"),
        (light_words(20_500.0), "20.5 klx"),
        (length_words(0.0425), "42.5 mm"),
        (length_words(1.25), "1.25 m"),
        (time_words(119.9), "119.9 s"),
        (time_words(120.0), "2 min 00 s"),
        (time_words(3599.4), "59 min 59 s"),
        # what rounds up to an hour is told as one
        (time_words(3599.6), "1 h 00 min"),
        (time_words(7380.0), "2 h 03 min"),
        (clock_words(3661.9), "1:01:01"),
        (bytes_words(400.0), "0.4 kB"),
        (bytes_words(999_000.0), "0.999 MB"),
        (bytes_words(3.2e6), "3.2 MB"),
        (bytes_words(1.5e11), "150 GB"),
        (bytes_words(2e12), "2 TB"),
    ],
)
def test_figures_in_words(words: str, expected: str) -> None:
    assert words == expected
