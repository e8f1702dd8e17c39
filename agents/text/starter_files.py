"""Files to begin with: what they are called, and what stands in them."""

import re

from agents.errors import OptionError
from agents.text.readers import quote, with_article
from agents.text.shipped import configs_folder, shipped_names
from agents.text.spec_reading import LONGEST_NAME
from agents.text.yaml_text import layout_of, replaced

# What has a meaning in a path on some system, what steers a terminal, and what turns the writing round.
_UNFIT = re.compile('[/\\\\:*?"<>|\x00-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069\ud800-\udfff]')
# Names of devices on Windows, with any ending.
_DEVICES = re.compile(r"(?i)(con|prn|aux|nul|com[0-9]|lpt[0-9])(\..*)?")
# What most systems let a file be called at the most [bytes].
_MOST_BYTES = 240


def file_name(name: str, kind: str) -> str:
    """The file of a ``kind`` that is called ``name``: blanks become hyphens.

    Raises OptionError for a name that is none, that is a path or a device, or that a shipped file has.

    >>> file_name("fast carrot", "design")
    'fast-carrot.yaml'
    >>> file_name("../carrot", "design")
    Traceback (most recent call last):
    agents.errors.OptionError: got '../carrot', expected a name, not a path: of 1 to 40 letters, without ...
    """
    stem = "-".join(name.split())
    is_fit = (
        1 <= len(name) <= LONGEST_NAME
        and stem != ""
        and not _UNFIT.search(name)
        and not _DEVICES.fullmatch(stem)
        and stem[0] not in ".-~"
        and stem[-1] != "."
        and len(stem.encode("utf-8")) <= _MOST_BYTES
    )
    if not is_fit:
        raise OptionError(
            f"got {quote(name)}, expected a name, not a path: of 1 to {LONGEST_NAME} letters, without any of"
            ' / \\ : * ? " < > | and with no dot or hyphen in front'
        )
    if stem in shipped_names(kind):
        raise OptionError(f"{stem} is {with_article(kind)} that is shipped; choose another name")
    return f"{stem}.yaml"


def starter_text(name: str, kind: str) -> str:
    """The text of a file to begin with, called ``name``."""
    text = (configs_folder() / "starters" / f"{kind}.yaml").read_text(encoding="utf-8")
    # as one types it in the folder of the file
    text = text.replace("THIS_FILE", f"./{file_name(name, kind)}")
    return replaced(layout_of(text), ("name",), " ".join(name.split()), lambda path: [])
