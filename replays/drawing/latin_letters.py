"""Names in any script, written in letters that the font has.

A picture is the same on every machine, so it keeps to the font that comes with pygame. What that lacks, and
what would have to be shaped or written from right to left, is spelt in Latin letters: the sign of a
sunflower as "sunflower", 日本 as "RiBen".
"""

import re
import unicodedata
from collections.abc import Callable

# Control signs, such as the joiners and shades within one emoji, have no letters of their own.
_UNSEEN = ("Cc", "Cf", "Cs", "Co", "Cn", "Me")
_SHADES = range(0x1F3FB, 0x1F400)


def latin_letters(words: str, has: Callable[[str], bool]) -> str:
    """``words`` in letters of which the font ``has`` each; never raises, whatever a file may hold.

    >>> latin_letters("poppy", str.isascii)
    'poppy'
    >>> latin_letters("🌻 日本", str.isascii)
    'sunflower RiBen'
    """
    if words.isascii() and words.isprintable():
        return words
    spelt = "".join(_spelt(letter, has) for letter in unicodedata.normalize("NFC", words))
    # what is spelt as words stands apart from others, but not from the comma behind it
    spelt = re.sub(r" +(?=[,.;:)])", "", re.sub(r" {2,}", " ", spelt)).strip()
    # a name of nothing but signs without a sound still is a name
    return spelt or ("?" if words.strip() else "")


def _spelt(letter: str, has: Callable[[str], bool]) -> str:
    if letter.isspace():
        return " "
    category = unicodedata.category(letter)
    if category in _UNSEEN or ord(letter) in _SHADES or 0xFE00 <= ord(letter) <= 0xFE0F:
        return " " if category == "Cc" else ""
    from_the_right = unicodedata.bidirectional(letter) in ("R", "AL")
    if not from_the_right and category != "Mn" and ord(letter) < 0x10000 and has(letter):
        return letter
    # a table of all scripts, which is only needed for such names
    from anyascii import anyascii

    latin = anyascii(letter).strip()
    if latin.startswith(":") and latin.endswith(":"):
        return f" {latin.strip(':').replace('_', ' ')} "
    return latin
