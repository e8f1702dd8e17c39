"""What goes unnoticed with good reason."""

# What goes unnoticed with good reason: module, the changed line, why.
EXPLAINED = {
    ("replays/scoring/survival.py", "@dataclass(frozen=False)"): "nobody tries to change one",
    (
        "replays/scoring/survival.py",
        "half = np.flatnonzero(self.waiting < 0.5 + 1e-12)",
    ): "no share of a number of walkers is this one",
    (
        "agents/circuit/eye.py",
        "for point in range( 0, count):",
    ): "below the first point it has returned",
    ("agents/circuit/eye.py", "if place < lights[0]:"): "at a point either way gives its value",
    (
        "agents/circuit/eye.py",
        "if place < lights[point]:",
    ): "at a point either way gives its value",
}
