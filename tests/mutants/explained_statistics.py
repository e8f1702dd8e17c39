"""What goes unnoticed of the statistics with good reason."""

# ruff: noqa: E501 - lines are as long as they came out

STATISTICS: dict[str, dict[str, tuple[str, ...]]] = {
    "arena/races/ranking.py": {
        "a choice": (
            "MOST_ROUNDS = 1001",
            "MOST_ROUNDS = 999",
            "return rounds if rounds < MOST_ROUNDS else None",
        ),
        "where all rounds are ties the share of wins is a half": (
            "if share <= 0.5 or untied < 0.0:",
            "if share <= 0.5 or untied <= -1.0:",
        ),
        "one step more or fewer of twenty thousand": ("_MOST_STEPS = 20001", "_MOST_STEPS = 19999"),
        "nobody tries to change one": ("@dataclass(frozen=False)",),
        "no two scores differ by that to the last digit": ("wins += row[:, None] >= row[None, :] + _SAME",),
        "a chance of one is above every limit already": (
            "chance = np.minimum( 2.0, 2.0 * binom.sf(more - 1, ahead + behind, 0.5))",
        ),
        "a whole number over a power of two is no twentieth of a whole number": (
            "failed = np.flatnonzero(chance[order] >= limits)",
        ),
        "of as many wins as losses nothing is told": ("if behind[number] >= ahead[number]:",),
        "nobody is better than himself": ("better = sure & (rank[:, None] <= rank[None, :])",),
        "who is alone is next with certainty: a win more, and as much more in what it is divided by": (
            "if np.count_nonzero(left) >= 1:",
            "if np.count_nonzero(left) > 0:",
        ),
        "against one of twice the strength all are twice as strong, and all are divided by their sum": (
            "new = won / (stages.T @ (times / (stages @ strength)) + 1.0 / (strength + 2.0))",
        ),
        "no change is that to the last digit": ("if change <= 1e-10:",),
    },
    "arena/studies/statistics/by_factor.py": {
        "the same however many are worked out at a time": (
            "_AT_A_TIME = 4000001",
            "_AT_A_TIME = 3999999",
            "step = max( 2, _AT_A_TIME // len(values))",
        ),
        "both are of the same levels": (
            "for words, others, lacks in zip(one.method, other.method, has_none, strict=False):",
        ),
        "of one the last is the first": ("tail = float(special.ndtr(-widened(np.array([count]))[ -1]))",),
    },
    "arena/studies/statistics/comparison.py": {
        "a choice": ("_CONTENDERS = 101", "_CONTENDERS = 99"),
        "nobody tries to change one": ("@dataclass(frozen=False)",),
        "no probability is 5 % to the last digit": (
            "alike = has_figure & ~(pairs.is_worse & (adjusted < LEVEL))",
        ),
        "of one there is nothing to choose": (
            'if score.summary == "median" and len(tied) >= 1:',
            'if score.summary == "median" and len(tied) > 0:',
        ),
        "numpy takes any number below nought for what is left": (
            "mean_rank = ranks.reshape(len(tied), - 2).mean(axis=1)",
        ),
        "where no pair differs, or one, the exact test comes to one by itself": (
            "p_value = np.where(differing == 1, 1.0, p_value)",
            "p_value = np.where(differing == -1, 1.0, p_value)",
        ),
        "nought by nought is no number either": (
            "value = np.divide(totals[0], totals[1], out=np.full(len(above), np.nan), where=totals[1] >= 0.0)",
            "value = np.divide(totals[0], totals[1], out=np.full(len(above), np.nan), where=totals[1] > -1.0)",
        ),
        "of fewer than five trials the probability is one whatever comes out": (
            "free = np.maximum(count - 1, 2)",
            "free = np.maximum(count - 1, 0)",
        ),
        "twice the tail is cut at one, and at a deviate from nought on it is no more": (
            "np.maximum(np.abs(lean) - 1.0, -1.0), spread, out=np.zeros_like(lean), where=spread > 0.0",
            "p_value = np.maximum(np.minimum(2.0 * special.ndtr(-deviate), 2.0), _floor(differing))",
        ),
        "a spread of one has a single pair, whose lean less one is nought": (
            "np.maximum(np.abs(lean) - 1.0, 0.0), spread, out=np.zeros_like(lean), where=spread > 1.0",
        ),
        "one setting alone has no spread, and nothing is told before": (
            "level = LEVEL / max(settings * (settings - 1) / 2.0, 0.0)",
        ),
        "a tenth of one is less than the five that are needed anyway": (
            "has_say = (estimates.count >= FEWEST) & (estimates.count >= 0.1 * estimates.count.max(initial= 1))",
            "has_say = (estimates.count >= FEWEST) & (estimates.count >= 0.1 * estimates.count.max(initial= -1))",
        ),
    },
    "arena/studies/statistics/estimates.py": {
        "a choice": (
            "_MOST_RESAMPLED = 5001",
            "_MOST_RESAMPLED = 4999",
            "@lru_cache(maxsize= 65537)",
            "@lru_cache(maxsize= 65535)",
        ),
        "nobody tries to change one": ("@dataclass(frozen=False)",),
        "any seed is as good": (
            "def estimate(score: Score, values: FloatArray, weights: FloatArray | None = None, seed: int = 1) -> Estimate:",
            "score: Score, values: FloatArray, weights: FloatArray | None = None, seed: int = 1",
            "score: Score, values: FloatArray, weights: FloatArray | None = None, seed: int = -1",
        ),
        "of one the last is the first": (
            "return estimate_all(score, values[None, :], None if weights is None else weights[None, :], seed)[ -1]",
        ),
        "the sum of noughts is nought, of how many there are": (
            "return np.zeros((len(values), 2)), np.zeros((len(values), 1))",
            "return np.zeros((len(values), 0)), np.zeros((len(values), 1))",
            "return np.zeros((len(values), 1)), np.zeros((len(values), 2))",
        ),
        "no size is below nought": (
            "scale = np.maximum(np.abs(above).max(axis=1, initial= -1.0), np.finfo(np.float64).tiny)",
            "is_alike = np.abs(pulls).max(axis=1, initial= -1.0) <= 1e-12 * scale / np.maximum(",
        ),
        "where nothing is said all are no number": (
            "left = ascending[rows, np.maximum((count - 1) // 2, -1)]",
        ),
        "half of a number is less than all of it": (
            "right = ascending[rows, np.minimum(count // 2, ascending.shape[1] + 1)]",
            "right = ascending[rows, np.minimum(count // 2, ascending.shape[1] - 0)]",
        ),
        "the bound is never nought": (
            "is_alike = np.abs(pulls).max(axis=1, initial=0.0) < 1e-12 * scale / np.maximum(",
        ),
        "no share is 99 % to the last digit": (
            "is_near_end = 0.0 < percent < 1.0 or 99.0 <= percent < 100.0",
        ),
        "of an odd number both middle values are one": (
            "return np.where(np.isinf(right) | (count % 1 == 1), left, middle)",
            "return np.where(np.isinf(right) | (count % 2 == 2), left, middle)",
        ),
        "at just as many both ways come to the same": ("is_long = above.shape[1] >= _MOST_RESAMPLED",),
    },
    "arena/studies/statistics/head_to_head.py": {
        "nobody tries to change one": ("@dataclass(frozen=False)",),
        "any seed is as good": (
            "score: Score, values: FloatArray, weights: FloatArray | None = None, seed: int = 1, picked: int = 1",
        ),
        "of nan and one nan is the smaller, as min has it": (
            "p_value = min(float(pairs.p_value[0]) * picked, 1.0) if not math.isnan(pairs.p_value[ 1]) else math.nan",
            "p_value = min(float(pairs.p_value[0]) * picked, 1.0) if not math.isnan(pairs.p_value[ -1]) else math.nan",
        ),
        "without a difference there is no median's interval either": (
            "if math.isfinite(difference) or repeats >= FEWEST:",
        ),
        "no probability is 5 % to the last digit": (
            "is_better = p_value < LEVEL and not bool(pairs.is_worse[0])",
        ),
        "of one the last is the first": ("reach *= float(widened(np.array([repeats]))[ -1])",),
        "a few resamples more or fewer": (
            "draws = np.random.default_rng(seed).integers(0, values.shape[1], (RESAMPLES // 11, values.shape[1]))",
            "draws = np.random.default_rng(seed).integers(0, values.shape[1], (RESAMPLES // 9, values.shape[1]))",
        ),
    },
    "arena/studies/statistics/sensitivities.py": {
        "nobody tries to change one": ("@dataclass(frozen=False)",),
        "a choice": (
            "_MOST_REPEATS, _MOST_DRAWN = 1001, 5000",
            "_MOST_REPEATS, _MOST_DRAWN = 999, 5000",
            "_MOST_REPEATS, _MOST_DRAWN = 1000, 5001",
            "_MOST_REPEATS, _MOST_DRAWN = 1000, 4999",
        ),
        "numpy takes any number below nought for what is left": (
            "grid = cells.reshape(*levels, - 2)",
            "others = grid.mean(axis=number).reshape(- 2, trials.shape[1])",
        ),
        "of just as many all are picked": ("if not table.is_grid and len(table) >= _MOST_DRAWN:",),
        "of drawn settings the whole is all there is": ("total = total[: 2]",),
        "of drawn settings the first is the last": (
            "first = _drawn_indices(trials.mean(axis=1), table, float(total[ -1]), seed)",
        ),
        "what is no number is left out": (
            "whole = np.full((len(table.factors), 2), np.nan)",
            "found[1:] += found[0] - (rest.mean() if rest.size else 1.0)",
            "found[1:] += found[0] - (rest.mean() if rest.size else -1.0)",
        ),
        "all figures are as much higher or lower": (
            "ranks[defined] = (found + 0.5) / found.size",
            "ranks[defined] = (found - 1.5) / found.size",
            "ranks[defined] = (found - -0.5) / found.size",
        ),
        "the same however many are worked out at a time": (
            "_AT_A_TIME = 2000001",
            "_AT_A_TIME = 1999999",
            "step = max( 2, _AT_A_TIME // len(counts))",
        ),
        "the same of both parts of a share, and the same number where each repeat counts once": (
            "return both / (drawn**2 - (counts** 1).sum(axis=1))",
        ),
        "one round more of two hundred": ("rounds = 200",),
        "no sum of squares is that to the last digit": (
            "((draw.permuted(trials, axis=0).mean(axis=1) - trials.mean()) ** 2).sum() > observed * (1.0 - 1e-12)",
        ),
        "nine of 199 are few enough, and ten are not, either way": (
            "return bool((reached + 1) / (rounds + 2) <= 0.05)",
        ),
        "a group that nobody is in counts for nothing": (
            "found = _corrected_squares(apart, np.eye(places.max() + 2)[places], luck, draws)",
        ),
        "of one column the last is the first": ("total = draws @ apart**2 - settings * middle[:, -1] ** 2",),
        "of nobody the sum is nought": (
            "between = (np.where(held >= 0.0, sums - held * middle, 0.0) ** 2 / np.maximum(held, 1.0)).sum(axis=1)",
            "between = (np.where(held > -1.0, sums - held * middle, 0.0) ** 2 / np.maximum(held, 1.0)).sum(axis=1)",
        ),
    },
    "replays/scoring/scatter.py": {
        "a choice": (
            "_THROWN = 19999",
            "_ROUNDS = 61",
            "_ROUNDS = 59",
            "@lru_cache(maxsize= 513)",
            "@lru_cache(maxsize= 511)",
        ),
        "the same however many are looked at in one go": (
            "_AT_ONCE = 4000001",
            "_AT_ONCE = 3999999",
            "step = max( 2, _AT_ONCE // max(len(points), 1))",
            "step = max(1, _AT_ONCE // max(len(points), 2))",
        ),
        "the sides are 1 and -1": (
            "row = row[row + off < count] if side >= 0 else row[row + off >= 0]",
            "row = row[row + off < count] if side > -1 else row[row + off >= 0]",
        ),
        "of two as near either is the nearest": (
            "goes_on = (of[other] == of[row]) & (along <= square[row])",
            "nearer = away <= square[row]",
        ),
        "all of it is written before it is read": (
            "distance, found = np.empty(count), np.full(count, 1)",
            "distance, found = np.empty(count), np.full(count, +1)",
            "distance, found = np.empty(count), np.full(count, - 2)",
            "distance, found = np.empty(count), np.full(count, - 0)",
        ),
        "what is just as far along the row is no nearer": (
            "goes_on = (of[other] == of[row]) & (along <= reach)",
        ),
        "of nobody nothing is read": (
            "return np.zeros(0, np.int64), np.zeros( 1), np.zeros(0), np.zeros(0, np.int64)",
            "return np.zeros(0, np.int64), np.zeros(0), np.zeros( 1), np.zeros(0, np.int64)",
            "return np.zeros(0, np.int64), np.zeros(0), np.zeros(0), np.zeros( 1, np.int64)",
        ),
        "rows that run the other way come to the same, more slowly": (
            "along, across = (0, 1) if not np.ptp(points[:, 0]) >= np.ptp(points[:, 1]) else (1, 0)",
            "along, across = (0, 1) if np.ptp(points[:, 1]) >= np.ptp(points[:, 1]) else (1, 0)",
            "along, across = (0, 1) if np.ptp(points[:, -1]) >= np.ptp(points[:, 1]) else (1, 0)",
            "along, across = (0, 1) if np.ptp(points[:, 0]) > np.ptp(points[:, 1]) else (1, 0)",
            "along, across = (0, 1) if np.ptp(points[:, 0]) < np.ptp(points[:, 1]) else (1, 0)",
            "along, across = (0, 1) if np.ptp(points[:, 0]) >= np.ptp(points[:, 0]) else (1, 0)",
        ),
        "no floor is covered to the half to the last digit": (
            "if count * math.pi * radius**2 >= _MOST_COVERED * room:",
        ),
        "points of no size are in nobody's way": ("if radius >= 0.0:", "if radius > -1.0:"),
        "both are as long": ("pairs = zip(outline, (*outline[1:], outline[0]), strict=False)",),
        "whether an earlier one stays is settled before, in each of these orders": (
            "for earlier, later in ordered[np.lexsort((ordered[:, 1], ordered[:, 1]))].tolist():",
            "for earlier, later in ordered[np.lexsort((ordered[:, -1], ordered[:, 1]))].tolist():",
            "for earlier, later in ordered[np.lexsort((ordered[:, 0], ordered[:, 0]))].tolist():",
        ),
        "nothing is nearer a wall than nought": ("if radius < 0.0:", "if radius <= -1.0:"),
    },
    "replays/scoring/survival.py": {
        "nobody tries to change one": ("@dataclass(frozen=False)",),
        "no share of a number of walkers is this one": ("half = np.flatnonzero(self.waiting < 0.5 + 1e-12)",),
    },
    "replays/scoring/turns.py": {
        "poses of a short pulse are not that seldom": (
            'if pulses["rest_s"][number] + pulses["start_s"][number] > 1.0:',
            'if pulses["rest_s"][number] - pulses["start_s"][number] > 0.0:',
        ),
        "the same for any turn but none, and below 10 rad": ("against = seldom & (ahead / steps < -_BACK)",),
        "nobody looks up the walker after the last": (
            'own_pulses = np.searchsorted(pulses["walker"][order], np.arange(count + 2))',
            'own_poses = np.searchsorted(poses["walker"], np.arange(count + 2))',
        ),
        "less than half a round, which rounding to whole ones takes away": (
            "along = np.concatenate(([ 1.0], np.cumsum(steps)))",
            "along = np.concatenate(([ -1.0], np.cumsum(steps)))",
        ),
        "no pulse, pose or turn is just as long to the last digit": (
            'if pulses["rest_s"][number] - pulses["start_s"][number] >= 1.0:',
            "seldom = spans >= _SELDOM",
            "against = seldom & (ahead * steps <= -_BACK)",
        ),
    },
}
"""Why, and the lines as they read when changed, by module."""
