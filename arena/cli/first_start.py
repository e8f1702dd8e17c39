"""Compiling what other commands need while the first run compiles its engine, in a process of its own.

One process compiles on one core only. On the first run of a version a helper compiles the kernels of the
bench, the kit and the window meanwhile, so that whatever comes after the first run starts at once. Where
nothing can be kept on disk there is no helper, and each command compiles what it needs.
"""

import contextlib
import os
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from pathlib import Path

from agents.compiled import PLAIN, code_store

# Kept in the store once the helper is done.
_DONE = "everything.code"
# The helper is given up after this time [s], on however slow a machine.
_LONGEST = 600.0

_HELPER = "import sys; sys.path.append({root!r}); from arena.cli.first_start import help_out; help_out()"


@contextlib.contextmanager
def everything_compiled(tell: Callable[[float], None]) -> Iterator[None]:
    """Have compiled, by the end of it, what commands need besides the engine.

    ``tell`` is called with 0 where that takes longer than what is done meanwhile. If nothing comes of it,
    later commands compile what they need.
    """
    helper = _start_helper()
    try:
        yield
        if helper is not None and helper.poll() is None:
            tell(0.0)
            with contextlib.suppress(subprocess.TimeoutExpired):
                helper.wait(_LONGEST)
    finally:
        if helper is not None:
            helper.kill()
            helper.wait()
            if helper.stdin is not None:
                helper.stdin.close()


def _start_helper() -> "subprocess.Popen[bytes] | None":
    store = code_store()
    if PLAIN or store.load(_DONE) is not None or not store.save("begun.code", b""):
        return None
    root = str(Path(__file__).resolve().parents[2])
    try:
        return subprocess.Popen(
            # -P: what lies in the folder of the moment is none of the program's modules
            [sys.executable, "-P", "-c", _HELPER.format(root=root)],
            stdin=subprocess.PIPE,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            creationflags=getattr(subprocess, "CREATE_NO_WINDOW", 0),
        )
    except OSError:
        return None


def help_out() -> None:
    """Be the helper: compile and end, at once if whoever started it is gone."""
    threading.Thread(target=_follow_parent, daemon=True).start()
    if hasattr(os, "nice"):
        # the engine comes first where there is one core only
        os.nice(5)
    compile_all_but_engine()
    code_store().save(_DONE, b"")


def _follow_parent() -> None:
    # nothing is ever written to it: it ends when the process that holds the other end does
    os.read(0, 1)
    os._exit(1)


def compile_all_but_engine() -> None:
    """Call, once and with what is quick to reckon, the kernels that Python calls outside the engine.

    The map of light comes first: the run that is under way wants it as soon as its engine has done.
    """
    import numpy as np

    from agents.circuit.air import set_air
    from agents.circuit.charging import wait, waiting_currents
    from agents.circuit.eye import feed_resistance, on_voltage, recovery_time, trigger_voltage
    from agents.circuit.ignition import ignites
    from agents.circuit.panel import lit_panel, open_circuit_voltage, photocurrent_in
    from agents.circuit.records import STATE
    from agents.circuit.steering import lead
    from agents.circuit.table_making import TableSpan, pulse_table
    from agents.design.as_built import build
    from agents.design.spec import Design
    from agents.noise import TRIGGER, normal_pair
    from agents.testbench.bench_figures import bench_point
    from agents.testbench.diagnosis import diagnose
    from agents.testbench.pulse_scope import pulse_scope
    from agents.testbench.surveys import survey
    from arena.recording import map_of
    from arena.scene.spec import read_arena
    from replays.causes.pulse_curve import pulse_rows

    map_of(read_arena("open-bench"), 0.05)
    design = Design(name="first")
    walkers = build(design)
    walker = walkers[0]
    side = walker["side"][0]
    bench_point(design, 3e3)
    pulse_scope(design, 3e3)
    survey(walkers, [3e3], "sun")
    # a design with a fault, so that changes are tried
    diagnose(design.with_values({"storage.capacitance": 4.7e-3}), (3e3, 3e3))
    trigger = float(trigger_voltage(3e3, False, side))
    on_voltage(3e3, side)
    recovery_time(side)
    feed_resistance(False, side)
    lead(walker, trigger, trigger, trigger, trigger)
    ignites(float(on_voltage(3e3, side)), False, side)
    with np.errstate(over="ignore"):  # words wrap
        normal_pair(1, 0, TRIGGER, 0)
    photocurrent_in(walker, 1e3)
    panel = lit_panel(walker, 1e-3, 1.0)
    wait(walker, panel, np.zeros(1, STATE)[0], 1.0)
    set_air(walker, 298.15)
    waiting_currents(walker, panel, 1.0)
    open_circuit_voltage(panel.photocurrent, panel.saturation, panel.thermal, walker["panel_shunt"])
    pulse_table(walkers, 0, TableSpan((trigger, 0.0, 293.0), (trigger + 0.1, 1e-3, 298.0)))
    free = np.zeros(1), np.zeros(1)
    pulse_rows(walker, 0, trigger, panel, free, free, 1.0)
