"""Runs the shipped studies and writes their pages anew; see :mod:`tests.helpers.study_pages`."""

import argparse
import math
import re
import sys
import time
from collections.abc import Sequence
from pathlib import Path

import yaml
from PIL import Image

from arena.studies.plans.study import Study, parse_study
from arena.studies.running.sweeping import run_sweep
from arena.studies.statistics.estimates import Estimate, tell
from arena.studies.telling.summary import Summary, publish_summary, summarise
from arena.studies.trial_scores import Score
from replays.format.whole_files import make_folder
from tests.helpers.study_pages import (
    PAGES,
    PICTURES,
    QUOTE,
    STALE,
    STUDIES,
    Key,
    page_path,
    paragraphs_of,
    told_figures,
    with_figures,
)

_NUMBER = re.compile(r"not in time|[\d.]+")


def told_in_page(score: Score, figure: Estimate) -> str:
    """A figure with its interval as pages have it: times in minutes."""
    if score.unit != "s":
        words = tell(score, figure).replace("undefined", "–")
        return words.replace("not within the run", "not in time")
    value, low, high = (_minutes(one) for one in (figure.value, figure.low, figure.high))
    words = f"{value} min" if math.isfinite(figure.value) else value
    return words if not figure.has_interval or low == high else f"{words} [{low}, {high}]"


def _minutes(seconds: float) -> str:
    return (
        "–" if math.isnan(seconds) else f"{seconds / 60.0:.1f}" if math.isfinite(seconds) else "not in time"
    )


def plan_of(name: str, changes: dict[str, object], repeats: int | None) -> Study:
    """A shipped study with some keys of its plan changed, and so many repeats."""
    text = (STUDIES / f"{name}.yaml").read_text(encoding="utf-8")
    keys = {**yaml.load(text, Loader=yaml.BaseLoader), **changes}
    keys = {key: one for key, one in keys.items() if key != "marks" or not changes}
    if repeats is not None:
        keys["repeats"] = str(repeats)
    return (
        parse_study(yaml.safe_dump(keys, sort_keys=False), name)
        if changes or repeats
        else parse_study(text, name)
    )


def counted(name: str, folder: Path, repeats: int | None, restart: bool) -> tuple[dict[Key, str], Summary]:
    """The figures of a study and its further runs, by key, and the summary of the study itself."""
    figures: dict[Key, str] = {}
    summaries = {}
    for run, changes in {"": {}, **PAGES[name].further}.items():
        study = plan_of(name, changes, repeats)
        place = folder / f"{name}{'-' if run else ''}{run}.sweep"
        begun = time.monotonic()
        outcome = run_sweep(study, place, restart=restart)
        summary = summaries[run] = summarise(outcome)
        publish_summary(summary)
        sys.stdout.write(f"{place.name}: {study.trials:,} trials, {time.monotonic() - begun:.0f} s\n")
        sys.stdout.flush()
        for score in summary.scores:
            for setting in range(study.settings):
                told = told_in_page(score, summary.estimates[score.name][setting])
                figures[(run, score.name, *summary.words(setting))] = told
    return figures, summaries[""]


def moved(former: str, now: str) -> bool:
    """Whether two figures have intervals that do not meet, or one of them has none and they differ."""
    ends = []
    for told in (former, now):
        numbers = [math.inf if one == "not in time" else float(one) for one in _NUMBER.findall(told)]
        if not numbers:
            return former != now
        ends.append(numbers[-2:] if len(numbers) > 2 else [numbers[0], numbers[0]])
    return ends[0][1] < ends[1][0] or ends[1][1] < ends[0][0]


def to_read(text: str) -> list[str]:
    """The sentences of a page that hold a figure which nobody writes anew."""
    found = []
    for paragraph in paragraphs_of(text):
        if paragraph.startswith(("#", "!", "`photodrome sweep")):
            continue
        for sentence in re.split(r"(?<=[.:;])\s+(?=[A-Z*])", " ".join(paragraph.split())):
            if re.search(r"\d", QUOTE.sub("", sentence)):
                found.append(sentence)
    return found


def rewrite(name: str, folder: Path, into: Path | None, repeats: int | None, restart: bool) -> None:
    """Count the figures of a page anew, write it and its picture, and tell what to read."""
    figures, summary = counted(name, folder, repeats, restart)
    page = PAGES[name]
    for other in {key[0] for key in page.quotes} & set(PAGES):
        figures |= {
            (other, *key[1:]): told for key, told in counted(other, folder, repeats, restart)[0].items()
        }
    former = told_figures(name)
    text = page_path(name).read_text(encoding="utf-8").rstrip("\n")
    if repeats is None:
        text = "\n\n".join(one for one in text.split("\n\n") if not one.startswith(STALE))
    new = with_figures(name, text, figures, None if page.bench is None else page.bench())
    path, pictures = (page_path(name), PICTURES) if into is None else (into / f"{name}.md", into)
    path.write_text(new, encoding="utf-8")
    with Image.open(folder / f"{name}.sweep" / page.picture) as drawn:
        # a plot has few colours
        few = drawn.convert("RGB").quantize(128)
        few.save(pictures / f"study-{name}.png", optimize=True)
    for key, told in former.items():
        if moved(told, figures[key]):
            sys.stdout.write(f"  moved: {', '.join(filter(None, key))}: {told} is now {figures[key]}\n")
    for key in page.quotes:
        if not QUOTE.fullmatch(figures[key]):
            sys.stdout.write(f"  to mend: {', '.join(filter(None, key))} in the text is now {figures[key]}\n")
    for one in summary.conditions:
        sys.stdout.write(f"  the sweep says: {one.condition}: {one.advice}\n")
    for sentence in to_read(new):
        sys.stdout.write(f"  to read: {sentence}\n")


def main(arguments: Sequence[str] | None = None) -> None:
    """Write the pages of the studies that are named, of all if none is."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("names", nargs="*", help="studies; all if left out")
    parser.add_argument("--results", type=Path, default=Path("study-pages"), help="folder for the sweeps")
    parser.add_argument("--repeats", type=int, help="fewer repeats, to try it; needs --into")
    parser.add_argument(
        "--into", type=Path, help="folder for pages and pictures, in place of the shipped ones"
    )
    parser.add_argument("--restart", action="store_true", help="throw away trials that are there")
    asked = parser.parse_args(arguments)
    if asked.repeats is not None and asked.into is None:
        parser.error("--repeats: the shipped pages are of all repeats; name a folder with --into")
    if set(asked.names) - set(PAGES):
        parser.error(f"studies are {', '.join(PAGES)}")
    for folder in filter(None, (asked.results, asked.into)):
        make_folder(folder)
    for name in asked.names or PAGES:
        rewrite(name, asked.results, asked.into, asked.repeats, asked.restart)
