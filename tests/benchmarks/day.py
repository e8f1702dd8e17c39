"""What a day from dawn to dusk costs: ``python -m tests.benchmarks.day`` (``--walkers 100`` for a full yard).

The yard of ``yard-day``, 17 h, with all walkers on one floor, with each on its own, and that once more with
half the day's tolerance, which doubles the steps of its sky and so tells what one costs. Told are processor
times on one thread. Beside it stands what as many pulses cost who is alone, without the steps of the sky: a
crowd has contacts, shadows of others, and who is pushed; but those whom others hold cost less than who walks.
"""

# ruff: noqa: T201 - printing is what it is for

import argparse
import time
from collections.abc import Sequence
from dataclasses import dataclass, replace

from arena.scene.contest import read_contest
from arena.simulation import plans_of, run_plans

DESIGN, YARD = "poppy", "yard-day"


@dataclass(frozen=True)
class Cost:
    """Processor time [s], pulses, rows of light, and steps of the sky times walkers."""

    busy: float
    pulses: int
    lights: int
    steps: int

    @property
    def per_pulse(self) -> float:
        """Processor time of a pulse [us], with all that goes with it."""
        return 1e6 * self.busy / max(self.pulses, 1)


def measured(walkers: int, alone: bool, hours: float, finer: float = 1.0) -> Cost:
    """Run walkers in the yard for so many hours, the engine alone, with its tolerance so many times finer."""
    contest = read_contest(YARD, [DESIGN], walkers=walkers, seconds=3600.0 * hours, alone=alone)
    day = contest.arena.day
    assert day is not None
    finer_day = day.model_copy(update={"tolerance": day.tolerance / finer})
    plans = plans_of(replace(contest, arena=contest.arena.model_copy(update={"day": finer_day})))
    run_plans([replace(plan, until=1e-3) for plan in plans[:1]], 1)
    begun = time.process_time()
    tables, _ = run_plans(plans, 1)
    busy = time.process_time() - begun
    steps = sum(len(plan.walkers) * len(plan.sky.steps) for plan in plans if plan.sky is not None)
    return Cost(busy, len(tables["pulses"]), len(tables["lights"]), steps)


def main(arguments: Sequence[str] | None = None) -> dict[str, Cost]:
    """Print all figures; returns them by name."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--walkers", type=int, default=30, help="walkers in the yard")
    parser.add_argument("--hours", type=float, default=17.0, help="from five in the morning on")
    asked = parser.parse_args(arguments)
    found = {
        "together": measured(asked.walkers, False, asked.hours),
        "each alone": measured(asked.walkers, True, asked.hours),
        "half tolerance": measured(asked.walkers, True, asked.hours, 2.0),
    }
    for name, cost in found.items():
        print(
            f"{name:<15} {cost.busy:7.2f} s, {cost.pulses:>8,} pulses, {cost.per_pulse:6.1f} us each with "
            f"all that goes with it, {cost.lights / max(cost.pulses, 1):5.1f} changes of light a pulse"
        )
    together, alone, finer = found.values()
    pulse = 1e-6 * alone.per_pulse
    step = max(finer.busy - alone.busy - pulse * (finer.pulses - alone.pulses), 0.0) / (
        finer.steps - alone.steps
    )
    floor = (alone.busy - step * alone.steps) / max(alone.pulses, 1) * together.pulses
    print(f"a step of the sky: {1e6 * step:.1f} us a walker, {step * together.steps:.2f} s in all")
    print(f"as many pulses of walkers alone: {floor:.2f} s; the day over that: {together.busy / floor:.2f}")
    return found


if __name__ == "__main__":
    main()
