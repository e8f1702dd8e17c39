"""Light, lengths and times in a word or two, as pictures, tables and sentences tell them."""

NOTHING = "–"
"""What stands where there is nothing to tell."""


def light_words(light_lx: float) -> str:
    """``light_lx`` [lx] in a word or two: 0.5 lx, 500 lx, 20 klx."""
    if light_lx >= 1000.0:
        return f"{light_lx / 1000.0:.3g} klx"
    return f"{light_lx:.3g} lx"


def length_words(length_m: float) -> str:
    """``length_m`` [m] in words: millimetres below one metre."""
    return f"{length_m:.3g} m" if length_m >= 1.0 else f"{length_m * 1000.0:.3g} mm"


def time_words(time_s: float) -> str:
    """``time_s`` [s] in words: seconds below two minutes, hours and minutes from one hour on."""
    if time_s < 120.0:
        return f"{time_s:.1f} s"
    minutes, seconds = divmod(round(time_s), 60)
    if minutes < 60:
        return f"{minutes} min {seconds:02d} s"
    hours, minutes = divmod(round(time_s / 60.0), 60)
    return f"{hours} h {minutes:02d} min"


def clock_words(time_s: float) -> str:
    """``time_s`` [s] as hours, minutes and seconds."""
    minutes, seconds = divmod(int(time_s), 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours}:{minutes:02d}:{seconds:02d}"


def bytes_words(size: float) -> str:
    """``size`` [bytes] in words: kB, MB, GB or TB.

    >>> [bytes_words(size) for size in (20_000, 3.2e6, 1.5e11)]
    ['20 kB', '3.2 MB', '150 GB']
    """
    for unit, word in ((1e12, "TB"), (1e9, "GB"), (1e6, "MB")):
        if size >= 0.995 * unit:
            return f"{size / unit:.3g} {word}"
    return f"{size / 1e3:.3g} kB"


def ordinal(number: int) -> str:
    """``number`` as a place.

    >>> [ordinal(number) for number in (1, 2, 3, 4, 11, 12, 13, 21, 102)]
    ['1st', '2nd', '3rd', '4th', '11th', '12th', '13th', '21st', '102nd']
    """
    ending = {1: "st", 2: "nd", 3: "rd"}.get(number % 10, "th")
    return f"{number}{'th' if number % 100 in (11, 12, 13) else ending}"
