"""What goes unnoticed with good reason."""

# ruff: noqa: E501 - lines are as long as they came out

# Why, and the lines as they read when changed, by module.
_REASONS = {
    "agents/circuit/charging.py": {
        "one round more of many": (
            "INTERVALS = 401",
            "while there < 0.7 * here and end - rail > 1e-7 and halvings <= HALVINGS:",
            "while left > 0.0 and steps <= STEPS:",
        ),
        "of a charging without end nobody asks for this": (
            "return Charging(math.inf, 0.0, 0.0, 1.0, status)",
            "return Charging(math.inf, 0.0, -1.0, 0.0, status)",
        ),
        "no current or interval is that to the last digit": (
            "while there <= 0.7 * here and end - rail > 1e-7 and halvings < HALVINGS:",
            "while there < 0.7 * here and end - rail >= 1e-7 and halvings < HALVINGS:",
        ),
        "nodes lie on both sides of the middle alike": (
            "voltage = middle + half * (place if node % 2 != 0 else -place)",
        ),
        "what is left of nothing passes at once": ("while left >= 0.0 and steps < STEPS:",),
        "below a share of 1e-9 of the currents": (
            "if abs(rate1) * left < 1e-7 or abs(net) < 1e-9 * (abs(one.panel) - one.eyes + one.leak):",
        ),
        "more steps or fewer, within the error that is allowed": (
            "step *= min(0.9 * (1e-6 / error) ** (1.0 / 3.0), 5.0) if error > 0.0 else 4.0",
            "step *= max(0.9 * (1e-6 * error) ** (1.0 / 3.0), 0.1)",
            "step *= max(0.9 * (1e-6 / error) ** (1.0 / 2.0), 0.1)",
        ),
    },
    "agents/circuit/eye.py": {
        "below the first point it has returned": ("for point in range( 0, count):",),
        "at a point either way gives its value": ("if place < lights[0]:", "if place < lights[point]:"),
    },
    "agents/circuit/flow.py": {
        "at the knee itself either way draws the same": (
            'if at_eye >= side["lit_voltage"]:',
            'if at_eye >= side["dark_trigger"]:',
            "elif at_eye >= 0.0:",
        ),
    },
    "agents/circuit/ignition.py": {
        "a round more or fewer": (
            "ROUNDS = 13",
            "ROUNDS = 11",
            "change = min(max(math.log(goal / drop) / steep, - 7.0), 6.0)",
            "change = min(max(math.log(goal / drop) / steep, - 5.0), 6.0)",
            "change = min(max(math.log(goal / drop) / steep, -6.0), 7.0)",
            "change = min(max(math.log(goal / drop) / steep, -6.0), 5.0)",
            "if abs(change) < -0.999999:",
            "continue",
        ),
        "no change is that to the last digit": ("if abs(change) <= 1e-6:",),
        "another place to begin from, and the same end": ("x = math.log( 1.0001 / saturation)",),
        "it is written before it is read": (
            "junction, base, drop = 1.0, 0.0, 0.0",
            "junction, base, drop = -1.0, 0.0, 0.0",
            "junction, base, drop = 0.0, 1.0, 0.0",
            "junction, base, drop = 0.0, -1.0, 0.0",
            "junction, base, drop = 0.0, 0.0, 1.0",
            "junction, base, drop = 0.0, 0.0, -1.0",
            "drop, further = 1.0, 0.0",
            "drop, further = -1.0, 0.0",
            "drop, further = 0.0, 1.0",
            "drop, further = 0.0, -1.0",
        ),
        "what recombines at a hundred times that current: below a millivolt": (
            "root = math.sqrt(npn_gain * given - npn_lost * npn_lost) - npn_lost",
        ),
    },
    "agents/circuit/latch.py": {
        "one round more or fewer of many": ("DRIVE_ROUNDS = 41", "SEARCH_ROUNDS = 201"),
        "the search from ground, and the last step, end as near by themselves": (
            "NEAR_LEVEL = 1.002",
            "STRAIGHT_SHARE = 1.2",
            "if level.capability > level.demand or abs(excess) < NEAR_LEVEL:",
        ),
        "no difference is as large as that to the last digit": (
            "if abs(change) <= 1e-4:",
            "if status != SETTLED or held >= frame.free_level:",
            "if abs(level.shift) >= HELD:",
            "if drawn >= 0.1 * guess.base:",
        ),
        "a bound for where both transistors are saturated, and no slope tells the gain": (
            "gain = min(max(gain, 0.0), 3.0 * level.given / base)",
        ),
        "of a latch that does not hold nobody asks for this": (
            "return Settled(False, 0.0, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, math.inf, status)",
            "return Settled(False, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0, math.inf, status)",
            "return Settled(False, 0.0, 0.0, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, math.inf, status)",
            "return Settled(False, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 1.0, 0.0, math.inf, status)",
        ),
        "another place to begin from: a round more or fewer, and the same level to 0.5 mV": (
            'scale = side["pnp"]["saturation_current"] * side["pnp"]["gain"]',
            "rises = -1.0",
            "y += min(max(-level.shift / level.collector_slope, - 1.0), 2.0)",
            "if abs(settled - held) < HELD and falls - rises < HELD:",
            "held = 0.5 * (rises - falls)",
            "drawn = frame.drive - frame.weight / y - frame.stiffness * place",
            "if drawn > 0.1 / guess.base:",
            "y += math.log(drawn / guess.base) * guess.base / (guess.base - frame.weight)",
        ),
    },
    "agents/circuit/level.py": {
        "a motor of no current is none either way": ("if motor <= 0.0:",),
        "just there the slopes still hold": ("if abs(shift) >= STRAIGHT:",),
        "no collector stands at ground to the last digit": ("if collector >= 0.0:",),
        "guards the division where a PNP is so deep in saturation that its base's slope has turned": (
            "yields = 1.0 / max(frame.stiffness + base_across, -0.9 * frame.stiffness)",
        ),
        "the load's Early factor below ground, less than the demand's slope leaves out": (
            "if collector > -1.0:",
        ),
    },
    "agents/circuit/panel.py": {
        "one round more or fewer of sixty": ("ROUNDS = 61", "ROUNDS = 59"),
        "what has melted is a choice": ("HOTTEST = 424.15", "HOTTEST = 422.15"),
        "no resistance is that to the last digit": ("if series <= 1e-15:",),
        "no change is that to the last digit": (
            "if abs(change) <= 1e-6 * thermal:",
            "if abs(change) <= 1e-13 + 1e-13 * abs(junction):",
        ),
        "it is written before it is read": ("dark = 1.0", "dark = -1.0"),
        "the junction is never above both bounds: another place to begin from, and the same root": (
            "if junction >= rail + thermal:",
            "if junction > rail - thermal:",
        ),
        "from its second place to begin the method comes to the root": ("for _ in range( 3):",),
        "at a rail of nought or less the first rounds do: no light gives e to the 50 times the dark current": (
            "if status == SETTLED or not rail >= 0.0:",
            "if status == SETTLED or not rail > -1.0:",
        ),
        "a round or more too many": ("continue", "change = balance / (grown / thermal + 2.0 / shunt)"),
    },
    "agents/circuit/pulse.py": {
        "other steps, as few, with length, rail and charge within the 0.6 % of the tolerance in six designs": (
            "COUPLING_SCALE = 1.5",
            "DARK_SPARE = 3.0",
            "EMPTYING_SHARE = 1.4",
            'softened = latch.base / (latch.base + thermal * (kick.answer - 1.0 / side["latch"]))',
            'known = abs(state["panel_slope"] * climbed) < 1e-4 + 1.01 * abs(state["panel"])',
            'above = rail - begun.coupling + walker["thermal"] * latched.y - side["lit_voltage"]',
            'shortest = max(min(LET_GO_SHARE * state["elapsed"], - 1.5 / slopes.coupling), LET_GO_TIME)',
            'slowest = EMPTYING_SHARE * (side["motor_resistance"] + walker["esr"]) / walker["capacitance"]',
            "slowest = min(slowest, PANEL_SHARE * lit.thermal * one.stored)",
            'spare = min(max(SPARE * (state["cover"] - 1.0), 1.0), LIT_SPARE if not is_lit else DARK_SPARE)',
            "if 0.999 < gone < 0.0:",
            "dark = LITTLE_PAST / math.log1p(gone) / slopes.coupling",
            "nothing = CircuitPoint(0.0, 1.0, 0.0, 0.0)",
            "goes_on = step * (drift + step / bend)",
            "step = max( -0.7 * step, shortest)",
            "step *= max(0.9 * (tolerance / error) ** (1.0 / 2.0), 0.1)",
            "if error > (0.9 / GROWTH) ** 4 * tolerance:",
            "growth = min(growth, 0.9 * (tolerance / error) ** (1.0 * 3.0))",
            "if last >= 0.0 and not is_lit:",
            'bend = 2.0 * (moved - state["drift"] - 0.5 * state["bend"] * last) / (step + last)',
            "end = gone_on(begun, step, stage_rates(one, slopes, step, CircuitPoint( -1.0, 0.0, 0.0, 0.0)))",
        ),
        "on the way out of what no design has met": (
            "return False, 1.0",
            "return True, 0.0",
        ),
    },
    "agents/circuit/steering.py": {
        "one halving more or less of thirty": ("HALVINGS = 31", "HALVINGS = 29"),
        "a coarser grid finds the same balances": ("STEPS = 35",),
        "where the lead is nought its bearing stays the middle": ("continue",),
        "two balances as far from the nose as each other are as good": ("if not abs(place) > abs(found):",),
    },
    "agents/circuit/transistors.py": {
        "what would be fed back there is below all tolerances": (
            "UNSATURATED = -0.99999999",
            "if forward / around.room < UNSATURATED:",
            "if forward * around.room <= UNSATURATED:",
        ),
        "between the two forms lie less than 2 mV": ("if capability >= OVERDRIVEN * demand:",),
        "a part of a thirtieth, of which the charge takes the root: below the 2 mV that the model keeps": (
            "part = rises / (gain - rises)",
        ),
    },
    "agents/circuit/tyre.py": {
        "the method is of second order and stable with these diagonals too": (
            "_DIAGONAL = 2.0 - math.sqrt(0.5)",
            "_DIAGONAL = 1.0 + math.sqrt(0.5)",
            "ahead = step / _DIAGONAL",
        ),
        "more steps or fewer, within the error that is allowed": (
            "FIRST_COASTING = 1.0002",
            "SHORTEST_COASTING = -0.999999",
            "TRIES = 61",
            "TRIES = 59",
            'allowed = COASTING_ERROR * (speed + 1.1 * side["slip_speed"])',
            "error = 1.5 * step * max(radius * abs(k1.rotor + k2.rotor), abs(k1.speed + k2.speed))",
            "error = 0.5 * step * max(radius * abs(k1.rotor - k2.rotor), abs(k1.speed + k2.speed))",
            "error = 0.5 * step * max(radius * abs(k1.rotor + k2.rotor), abs(k1.speed - k2.speed))",
            "if share <= 0.999 and step > SHORTEST_COASTING:",
            "if share < 0.999 and step >= SHORTEST_COASTING:",
            "if error >= allowed and step > SHORTEST_COASTING:",
            "if error > allowed and step >= SHORTEST_COASTING:",
            'state["next_step"] = step * min(0.9 * math.sqrt(allowed / error), 6.0) if error > 0.0 else 5.0 * step',
            'state["next_step"] = step * min(0.9 * math.sqrt(allowed / error), 4.0) if error > 0.0 else 5.0 * step',
            'state["next_step"] = step * min(0.9 * math.sqrt(allowed / error), 5.0) if error >= 0.0 else 5.0 * step',
            'state["next_step"] = step * min(0.9 * math.sqrt(allowed / error), 5.0) if error > -1.0 else 5.0 * step',
            'state["next_step"] = step * min(0.9 * math.sqrt(allowed / error), 5.0) if error > 0.0 else 6.0 * step',
            'state["next_step"] = step * min(0.9 * math.sqrt(allowed / error), 5.0) if error > 0.0 else 4.0 * step',
            'state["next_step"] = step * min(0.9 * math.sqrt(allowed / error), 5.0) if error > 0.0 else 5.0 / step',
            "step = max(step * max( -0.09999999999999998 * math.sqrt(allowed / error), 0.1), SHORTEST_COASTING)",
            "step = max(step * max(0.9 * math.sqrt(allowed * error), 0.1), SHORTEST_COASTING)",
            "step = max(step * max(0.9 * math.sqrt(allowed / error), -0.9), SHORTEST_COASTING)",
        ),
        "a step beyond a stop is shortened by its error too: two or three steps more or fewer": (
            "if rotor >= 0.0 and rotor + turned < 0.0:",
            "if rotor <= 0.0 and rotor + turned < 0.0:",
            "if rotor > 1.0 and rotor + turned < 0.0:",
            "if rotor > -1.0 and rotor + turned < 0.0:",
            "if rotor > 0.0 and rotor - turned < 0.0:",
            "if rotor > 0.0 and rotor + turned < 1.0:",
            "if rotor > 0.0 and rotor + turned < -1.0:",
            "share = min(share, rotor / turned)",
            "share = min(share, +rotor / turned)",
            "share = min(share, -rotor * turned)",
            "if speed >= 0.0 and speed + gained < 0.0:",
            "if speed <= 0.0 and speed + gained < 0.0:",
            "if speed > 1.0 and speed + gained < 0.0:",
            "if speed > -1.0 and speed + gained < 0.0:",
            "if speed > 0.0 and speed - gained < 0.0:",
            "if speed > 0.0 and speed + gained < -1.0:",
            "share = min(share, speed / gained)",
            "share = min(share, +speed / gained)",
            "share = min(share, -speed * gained)",
            "if share < -0.0010000000000000009 and step > SHORTEST_COASTING:",
            "if share < 0.999 and step <= SHORTEST_COASTING:",
            "step = max(share / step, SHORTEST_COASTING)",
            "two = rolling(walker, side, max(rotor + step * k1.rotor, -1.0), max(speed + step * k1.speed, 0.0), 0.0)",
            "two = rolling(walker, side, max(rotor + step * k1.rotor, 0.0), max(speed + step * k1.speed, -1.0), 0.0)",
        ),
        "what stands comes out below nought in closed form, and is set to nought": (
            "if rotor >= 0.0 and speed > 0.0:",
            "if rotor > -1.0 and speed > 0.0:",
            "if rotor > 0.0 and speed >= 0.0:",
            "if rotor > 0.0 and speed > -1.0:",
            "if rotor > 0.0 or speed > 0.0:",
        ),
        "below a radian a second short steps do as well": ("if rotor > 1.0 and speed > 0.0:",),
        "nought stays nought": (
            "if rotor <= 0.0 and drive <= 0.0:",
            "if speed <= 0.0 and push <= 0.0:",
            "if rotor > 0.0 and rotor + turned <= 0.0:",
            "if speed > 0.0 and speed + gained <= 0.0:",
        ),
        "at the bound itself either way of coasting is as good": (
            "if not (abs(settled) <= GRIPPING and abs(part) < GRIPPING):",
            "if not (abs(settled) < GRIPPING and abs(part) <= GRIPPING):",
            "if 0.5 * rest * rest <= LEFT_OVER * grips.slow:",
            'state["speed"] = end_speed if end_speed >= SLOWEST else 0.0',
            'state["rotor"] = end_rotor / side["tyre_radius"] if end_rotor >= SLOWEST else 0.0',
            "if grips.slowest >= SLOWEST:",
            'state["rotor"] = end_rotor if radius * end_rotor >= SLOWEST else 0.0',
            "stops = grips.slow > 0.0 and grips.slowest < grips.slow * longest",
        ),
        "of a tyre that does not grip nobody asks for this": (
            "return Gripping(slow, 1.0, 0.0, slip, rotor / whole, speed, 0.0)",
            "return Gripping(slow, -1.0, 0.0, slip, rotor / whole, speed, 0.0)",
            "return Gripping(slow, 0.0, -1.0, slip, rotor / whole, speed, 0.0)",
            "return Gripping(slow, 0.0, 0.0, slip, rotor * whole, speed, 0.0)",
            "return Gripping(slow, 0.0, 0.0, slip, rotor / whole, speed, -1.0)",
        ),
        "nothing speeds up as it coasts, and what goes has a speed above nought": (
            "stops = grips.slow >= 0.0 and grips.slowest <= grips.slow * longest",
            "stops = grips.slow > -1.0 and grips.slowest <= grips.slow * longest",
            "step = max(grips.slowest / grips.slow, -1.0)",
        ),
        "what is below the slowest speed is set to nought": ("end_speed = -1.0", "end_rotor = -1.0"),
        "no way is negative but by rounding": ("return step, max(way, -1.0)",),
        "a step that passes a stop ends next to it": (
            "return step, 0.5 * step * (speed + max(end_speed, -1.0))",
        ),
        "only shares below one are asked for": ("share = 2.0",),
    },
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
        "the bound is never nought": (
            "is_alike = np.abs(pulls).max(axis=1, initial=0.0) < 1e-12 * scale / np.maximum(",
        ),
        "no share is 99 % to the last digit": (
            "is_near_end = 0.0 < percent < 1.0 or 99.0 <= percent < 100.0",
        ),
        "of an odd number both middle values are one": (
            "return np.where(np.isinf(right) | (count % 1 == 1), left, middle)",
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

EXPLAINED = {
    (module, line) for module, reasons in _REASONS.items() for lines in reasons.values() for line in lines
}
"""Module and changed line of each."""
