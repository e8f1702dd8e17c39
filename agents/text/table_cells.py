"""Text for the cells of tables that a spreadsheet will open."""

# What a spreadsheet takes for the beginning of a formula.
_FORMULA = ("=", "+", "-", "@")


def harmless(text: str) -> str:
    """Text for a cell of a CSV table, with an apostrophe before what a spreadsheet would reckon with.

    >>> harmless("=1+1"), harmless("poppy")
    ("'=1+1", 'poppy')
    """
    shown = "".join(letter if letter.isprintable() else " " for letter in text)
    return (
        f"'{shown}" if (text.lstrip()[:1] and text.lstrip()[0] in _FORMULA) or text[:1] in _FORMULA else shown
    )
