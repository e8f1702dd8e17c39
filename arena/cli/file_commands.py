"""The commands new and schema: files to begin with, and what an editor wants to know of them."""

import json
from pathlib import Path

import click

from arena.cli.options import OneOf
from arena.cli.terminal import command_word, printable

# The kinds of which a file to begin with is shipped.
STARTERS = ("design", "arena", "race")
# The names of arena.cli.file_schemas.FORMS, told here so that --help need not fetch them.
KINDS = ("design", "arena", "study", "race", "drawer")
_NEXT = {
    "design": "to measure it: photodrome bench {path}",
    "arena": "to run a walker in it: photodrome run {path} --design poppy",
    "race": "to race the designs in a folder by it: photodrome race FOLDER --course {path}",
}


@click.command()
@click.argument("kind", type=OneOf("kind", *STARTERS), metavar=f"[{'|'.join(STARTERS)}]")
@click.argument("name")
@click.option(
    "--folder",
    type=click.Path(file_okay=False, path_type=Path),
    default=Path(),
    help="Where the file goes; here if left out.",
)
def new(kind: str, name: str, folder: Path) -> None:
    """Write a file to begin with, its values explained, called after NAME.

    For example: photodrome new design radish
    """
    from agents.errors import OptionError, OutputError
    from agents.text.starter_files import file_name, starter_text
    from replays.format.whole_files import write_whole

    path = folder / file_name(name, kind)
    if path.exists() or path.is_symlink():
        raise OptionError(f"{path}: is there already, and nothing is written over; choose another name")
    if not folder.is_dir():
        raise OutputError(f"{folder}: there is no such folder")
    write_whole(path, starter_text(name, kind).encode("utf-8"))
    # a bare name would be that of a shipped file
    shown = path if folder != Path() else Path("./" + path.name)
    told = command_word(shown) if folder != Path() else f"./{command_word(path)}"
    click.echo(printable(f"{kind}: {path}; {_NEXT[kind].format(path=told)}"))


@click.command()
@click.argument("kind", type=OneOf("kind", *KINDS), metavar=f"[{'|'.join(KINDS)}]")
@click.option(
    "--out", "-o", type=click.Path(dir_okay=False, path_type=Path), help="File to write; it is printed else."
)
def schema(kind: str, out: Path | None) -> None:
    """Write the JSON Schema of a kind of file, by which an editor completes and checks it.

    It knows keys, words and units; ranges it describes. photodrome check knows all.
    """
    from arena.cli.file_schemas import schema_of
    from replays.format.whole_files import write_whole

    text = json.dumps(schema_of(kind), indent=1, ensure_ascii=False)
    if out is None:
        click.echo(text)
        return
    write_whole(out, f"{text}\n".encode())
    click.echo(f"schema: {printable(str(out))}")
