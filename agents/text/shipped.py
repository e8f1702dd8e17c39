"""Finding a file by the bare name of a shipped one, or by the user's own path."""

from pathlib import Path

from agents.errors import NotFoundError, nearest, nearest_note
from agents.text.marked_yaml import no_file_there
from agents.text.readers import with_article

_FOLDERS = {
    "design": "designs",
    "arena": "arenas",
    "study": "studies",
    "drawer": "parts",
    "race": "races",
}


def configs_folder() -> Path:
    """Return the folder of shipped files: beside the packages in a source tree, else inside agents."""
    here = Path(__file__).resolve().parents[1]
    installed = here / "configs"
    return installed if installed.is_dir() else here.parent / "configs"


def shipped_names(kind: str) -> tuple[str, ...]:
    """Return the bare names of the shipped files of a kind (design, arena, study, drawer, race), sorted."""
    return tuple(sorted(path.stem for path in (configs_folder() / _FOLDERS[kind]).glob("*.yaml")))


def find_document(name_or_path: str | Path, kind: str) -> Path:
    """Return the path of a shipped file by its bare name, or the given path where it is one.

    Text with a separator or with the ending .yaml or .yml is a path. Raises NotFoundError, which names the
    nearest shipped name and lists them all.
    """
    text = str(name_or_path)
    path = Path(text)
    if "/" in text or "\\" in text or path.suffix.lower() in (".yaml", ".yml") or path.is_absolute():
        what = no_file_there(path).removesuffix("; expected a file")
        if not what:
            return path
        raise NotFoundError(f"{text}: {what}; expected a file of {with_article(kind)}")
    names = shipped_names(kind)
    if text in names:
        return configs_folder() / _FOLDERS[kind] / f"{text}.yaml"
    note = nearest_note(nearest(text, names))
    for other in _FOLDERS:
        if other != kind and text in shipped_names(other):
            note = f" ({text} is {with_article(other)})"
    listed = ", ".join(names) or "none"
    raise NotFoundError(f"{text!r}: no shipped {kind} of this name{note}; there are {listed}")
