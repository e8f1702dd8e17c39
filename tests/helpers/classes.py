"""A class of walkers: folders of entries that differ as those of pupils do."""

from pathlib import Path

FIRST_NAMES = (
    *("Anaïs", "Bela", "Cyril", "Dora", "Emre", "Fenja", "Gabor", "Hanna", "Ilja", "Jette"),
    *("Kofi", "Leyla", "Milan", "Nora", "Oskar", "Petra", "Quirin", "Rosa", "Sami", "Tilda"),
    *("Uwe", "Vera", "Wim", "Xenia", "Yara", "Zoltan", "Amira", "Bruno", "Clara", "David"),
)
TEAMS = ("Ferns", "Mosses", "Lichens")


def write_class(folder: Path, count: int = 12) -> list[Path]:
    """Write ``count`` entries that differ in storage, latch, eyes and feelers."""
    folder.mkdir(parents=True, exist_ok=True)
    paths = []
    for number in range(count):
        storage = ("2200 uF", "1000 uF", "3300 uF", "2200 uF", "4700 uF")[number % 5]
        latch = ("10k", "4k7", "22k", "2k2")[number % 4]
        aside = (30, 24, 36, 28)[number // 5 % 4]
        name = FIRST_NAMES[number % len(FIRST_NAMES)] + (f" {number // 30 + 1}" if number >= 30 else "")
        path = folder / f"entry-{number + 1:02d}.yaml"
        path.write_text(
            "photodrome: design 1\n"
            f"name: {name}\nteam: {TEAMS[number % 3]}\n"
            f"storage: {{ capacitance: {storage} }}\n"
            f"both:\n  latch: {latch}\n  eye: {{ aside: {aside} mm }}\n"
            f"  feeler: {('33k', '47k', '22k')[number % 3]}\n"
            "spread:\n  both.latch: { uniform: 5 % }\n  storage.capacitance: { uniform: 10 % }\n"
            "  both.eye.dark_trigger: { normal: 30 mV }\n",
            encoding="utf-8",
        )
        paths.append(path)
    return paths
