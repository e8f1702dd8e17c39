"""One pulse of one side: storage, latch, motor, tyre and body, in steps as long as a tolerance allows.

    C dV/dt     = I_panel - I_m - I_Bn - I_Bp - I_feeler - I_eye,other - V / R_leak
    I_m         = (V - V_CE - K omega) / R_m,  V_CE from the settled latch
    C_c du/dt   = I_c,   u = V_base - V_eye

and motor, tyre and body as in :mod:`agents.circuit.tyre`. The pulse holds while the NPN's capability covers
the motor's demand, and ends by nothing else. Then the wheel coasts to rest. The other side stays off.

With the latch settled at every moment these are four ordinary differential equations. Two of their time
constants, that of a lit eye at the coupling capacitor and that of the tyre's slip, are hundreds of times
shorter than a pulse. So the method is a linearly implicit one (:mod:`agents.circuit.stages`), which steps the
coupling capacitor beside an exponential that has its rate and its slope. A step is as long as its error
allows, ``tolerance`` of the walker's record, less where the NPN just covers its load; and an eye goes by one
law in it, lit or dark (:mod:`agents.circuit.lit_eye`).
While the eye is lit, or the collector goes on otherwise than expected, the latch is settled at the second
stage of a step and at the last, and is between them at the third; else once, at the last stage, and its
collector goes on between along a parabola. Where no level is left for it the step is made shorter, until the
moment of letting go is known to that share of the time since the flash which is the walker's tolerance.

Motor inductance (tens of microseconds) is left out, and so is what base charge and wiring store: the latch
follows at once and lets go at once. One that is too weak for its motor lets go so only in part: it goes on
amplifying what the coupling capacitor still gives. By the full equations such a twitch takes more out of the
storage, and the next one comes later (82k, 8 ohm, 3 klx: every 5.7 s, where it is every 3.6 s here). Neither
walks: there a twitch moves the tyre by half a millimetre, and by less here.
"""

import math
from typing import Any

from agents.circuit.accounts import arrive, settle_accounts
from agents.circuit.charging import waiting_currents
from agents.circuit.eye import feed_resistance
from agents.circuit.flow import (
    CircuitPoint,
    Flow,
    Latched,
    Still,
    ease_of,
    flow_at,
    gone_along,
    kick_at,
    part_way,
    settled_at,
)
from agents.circuit.latch import Guess, settle_latch
from agents.circuit.level import Supply
from agents.circuit.lit_eye import TURNING_ON, above_lit, time_to_dark
from agents.circuit.panel import LitPanel
from agents.circuit.stages import (
    ALONG_31,
    ALONG_32,
    ERRORS,
    MIX_21,
    MIX_31,
    MIX_32,
    MIX_41,
    MIX_42,
    MIX_43,
    PLACE_2,
    PLACE_3,
    WEIGHTS,
    Slopes,
    add_stages,
    blend,
    decayed,
    gone_on,
    stage_rates,
    stages_of,
    times,
    weigh_way,
)
from agents.circuit.status import NO_NUMBER, SETTLED
from agents.circuit.tyre import be_free, stiffness_of, tyre_ease
from agents.compiled import kernel, kernel_part

# The moment of letting go is found to so much at the least [s].
LET_GO_TIME = 1e-7
# Errors count as shares of what the rail stands above ``SPENT`` [V], of ``LEAST_ROOM`` [V] at the least, but
# of no more than it moves in a time constant of motor and storage, ``LEAST_SCALE`` [V] at the least; of this
# for the coupling capacitor [V], and of that while the eye is lit, where errors die out, or of what draws as
# much as the PNP's base; and of the rotor's speed and this part of the fastest.
SPENT = 0.6
LEAST_ROOM = 0.15
LEAST_SCALE = 0.01
COUPLING_SCALE = 0.5
LIT_SCALE = 1.0
ROTOR_SHARE = 0.1
# The base may be off by more the better the NPN covers its load: by this for each time that it could carry
# more, and by so much at the most while the eye is lit, and so much while it is dark.
SPARE = 1.5
LIT_SPARE = 2.0
DARK_SPARE = 2.0
# An eye that draws less than this share of the PNP's base current counts as dark, and by so much the law by
# which a step goes may be off at its end, where the eye has gone dark within it, or lit up.
BARELY = 0.01
WRONG_LAW = 0.03
# A step that darkens the eye goes on for this times as long as it takes.
LITTLE_PAST = 1.2
# A collector that has settled by more than this [V] beside where it was expected after a step is settled at
# each stage of the next one, and one by more than that [V] at each stage of the same.
LATCH_OFF = 1e-3
FAR_OFF = 5e-3
# Below this cover the latch's margin is taken to vanish as a root does, and down to that one the cover to go
# on falling, which tells when it lets go; and the tolerance is less with the cover, down to this share.
NEAR_END = 8.0
FALLING = 3.0
LEAST_TOLERANCE = 0.2
# A step takes this share of the motor's time constant with the storage at the most.
EMPTYING_SHARE = 0.4
# The rail climbs by this share of the panel's thermal voltage at the most before it is looked at again.
PANEL_SHARE = 0.3
# A step grows by this factor at the most, and there are so many tries of one.
GROWTH = 5.0
TRIES = 80


@kernel
def begin_pulse(walker: Any, number: int, touched: bool, state: Any) -> None:
    """Set ``state`` to the moment at which side ``number`` (0 left, 1 right) has just flashed."""
    side = walker["side"][number]
    state["coupling"] = side["quiet_current"] * feed_resistance(touched, side)
    state["rotor"] = 0.0
    state["speed"] = 0.0
    be_free(state)
    state["elapsed"] = 0.0
    state["cover"] = math.inf
    state["guess"] = math.inf
    state["base"] = 0.0
    state["next_step"] = side["flash_resistance"] * side["coupling"]
    state["margin"] = 0.0
    state["left"] = math.inf
    state["drift"] = 0.0
    state["bend"] = 0.0
    state["last_step"] = 0.0
    state["off"] = math.inf
    state["drain"] = 0.0
    state["peak"] = 0.0
    state["charge"] = 0.0
    state["panel_slope"] = math.inf


@kernel
def look_at_panel(walker: Any, lit: LitPanel, state: Any, rail: float) -> None:
    """Write into ``state`` what the panel gives at ``rail`` [V], and how that changes with it."""
    sun = waiting_currents(walker, lit, rail)
    state["status"] |= sun.status
    series = walker["panel_series"]
    grown = lit.saturation / lit.thermal * math.exp((rail + sun.panel * series) / lit.thermal)
    grown += 1.0 / walker["panel_shunt"]
    state["panel"] = sun.panel
    state["panel_slope"] = -grown / (1.0 + grown * series)
    state["panel_rail"] = rail


@kernel_part
def still_of(walker: Any, number: int, touched: bool, lit: bool, state: Any) -> Still:
    """What does not change in a step of side ``number`` with the panel as ``state`` knows it."""
    return Still(
        state["panel"],
        state["panel_slope"],
        state["panel_rail"],
        state["drain"],
        number,
        ease_of(walker, number, touched, lit),
        tyre_ease(walker, walker["side"][number], state),
    )


@kernel
def light_latch(walker: Any, still: Still, point: CircuitPoint, state: Any) -> bool:
    """Settle the latch afresh, as at the flash, and write into ``state`` where; returns whether it holds."""
    side = walker["side"][still.number]
    rail = point.stored - walker["esr"] * still.drain
    junction = TURNING_ON if state["guess"] == math.inf else walker["thermal"] * state["guess"]
    latch = settle_latch(
        Supply(rail, walker["esr"], side["motor_constant"] * point.rotor),
        kick_at(side, still.ease, rail, point.coupling, junction),
        walker["thermal"],
        side,
        Guess(math.inf, 0.0, 0.0),
    )
    state["status"] |= latch.status
    state["guess"] = latch.guess
    state["collector"] = latch.collector
    state["base"] = latch.base
    state["given"] = latch.given
    state["gain"] = latch.gain
    state["peak"] = max(state["peak"], latch.motor)
    return latch.holds


@kernel
def latched_in(state: Any) -> Latched:
    """The latch as the last step has left it."""
    return Latched(state["guess"], state["collector"], state["base"], state["given"], state["gain"])


@kernel
def slopes_at(walker: Any, still: Still, point: CircuitPoint, latch: Latched, grip: float) -> Slopes:
    """Slopes of what is fast at a ``point``, with that part of the tyre's ``grip``; the storage is slow."""
    side = walker["side"][still.number]
    thermal = walker["thermal"]
    esr = walker["esr"]
    rail = point.stored - esr * still.drain
    kick = kick_at(side, still.ease, rail, point.coupling, thermal * latch.y)
    # the emitter-base voltage gives way to what the capacitor draws
    softened = latch.base / (latch.base + thermal * (kick.answer + still.ease.latch))
    braking = side["motor_constant"] * side["motor_constant"] * still.ease.winding
    return Slopes(
        -kick.answer * softened * still.ease.coupling,
        softened,
        stiffness_of(side, still.tyre, grip, braking),
    )


@kernel
def pulse_step(
    walker: Any, number: int, lit: LitPanel, touched: bool, state: Any, longest: float
) -> tuple[bool, float]:
    """Advance a pulse by one step of at most ``longest`` [s].

    Returns (the latch still holds, floor passed under the tyre [m]); ``lit`` is the panel in its light. How
    long the step was is told by ``elapsed`` of the state. A latch that does not hold may have held for a
    last, short step. Where it is not known whether it holds, which the status of ``state`` tells, nothing is
    advanced, and the way is 0.
    """
    side = walker["side"][number]
    begun = CircuitPoint(state["rail"], state["coupling"], state["rotor"], state["speed"])
    rail = begun.stored - walker["esr"] * state["drain"]
    climbed = rail - state["panel_rail"]
    known = state["panel_slope"] < math.inf
    known = known and abs(state["panel_slope"] * climbed) < 1e-4 + 1e-2 * abs(state["panel"])
    if not known or climbed > PANEL_SHARE * lit.thermal:
        look_at_panel(walker, lit, state, rail)
    if state["guess"] == math.inf:
        # before the latch has turned on, and the motor pulls the rail down over the storage's resistance
        flashes = above_lit(walker, side, state["drain"], begun, math.inf, 0.0) > 0.0
        if not light_latch(walker, still_of(walker, number, touched, flashes, state), begun, state):
            return False, 0.0
    latched = latched_in(state)
    above = above_lit(walker, side, state["drain"], begun, latched.y, latched.collector)
    is_lit = above > BARELY * latched.base * side["flash_resistance"]
    still = still_of(walker, number, touched, is_lit, state)
    one = flow_at(walker, still, begun, latched)
    slopes = slopes_at(walker, still, begun, latched, one.grip)
    # as long as the coupling capacitor takes at the most, or stages that run ahead of it may find no level
    shortest = max(min(walker["tolerance"] * state["elapsed"], -0.5 / slopes.coupling), LET_GO_TIME)
    tolerance = walker["tolerance"] * min(max(state["cover"] / NEAR_END, LEAST_TOLERANCE), 1.0)
    rotor_scale = begun.rotor + ROTOR_SHARE * max(rail, 0.1) / side["motor_constant"]
    # the storage is stepped as it stands, which is good for less than the time in which it empties
    slowest = EMPTYING_SHARE * (side["motor_resistance"] + walker["esr"]) * walker["capacitance"]
    # a rail that hardly moves has to stand still, or it would swing past the level at which the latch lets go
    moving = abs(one.stored) * slowest / EMPTYING_SHARE
    rail_scale = max(min(max(rail - SPENT, LEAST_ROOM), moving), LEAST_SCALE)
    if one.stored > 0.0:
        # the panel's knee comes on within its thermal voltage
        slowest = min(slowest, PANEL_SHARE * lit.thermal / one.stored)
    # what the coupling capacitor is off by is a current in the base, of which little may be left
    drawn = -slopes.coupling * side["coupling"]
    # the less that matters the better the NPN covers its load
    spare = min(max(SPARE * (state["cover"] - 1.0), 1.0), LIT_SPARE if is_lit else DARK_SPARE)
    most = LIT_SCALE if is_lit else COUPLING_SCALE
    coupling_scale = min(most, max(spare * latched.base / max(drawn, 1e-12), LEAST_SCALE))
    step = min(max(state["next_step"], shortest), slowest, longest)
    if is_lit:
        # up to where the eye goes dark
        dark = time_to_dark(above / slopes.eye, one, slopes.coupling)
        step = min(step, max(LITTLE_PAST * dark, shortest))
    off_law = WRONG_LAW * latched.base * side["flash_resistance"]
    growth = GROWTH
    drift = state["drift"]
    bend = 0.5 * state["bend"]
    if not is_lit and state["last_step"] == 0.0:
        # what the collector did while the eye was lit tells nothing
        drift = 0.0
    follows = is_lit or state["off"] > LATCH_OFF
    nothing = CircuitPoint(0.0, 0.0, 0.0, 0.0)
    is_sure = False
    for _ in range(TRIES):
        goes_on = step * (drift + step * bend)
        # the coupling capacitor as it decays by itself, which the stages add to
        at_2, known_2 = decayed(begun, one.coupling, slopes.coupling, step * PLACE_2)
        at_3, known_3 = decayed(begun, one.coupling, slopes.coupling, step * PLACE_3)
        at_4, known_4 = decayed(begun, one.coupling, slopes.coupling, step)
        stages = stages_of(slopes, step)
        k1 = stage_rates(one, stages, nothing, one.coupling)
        second = gone_on(at_2, step * PLACE_2, k1)
        at = gone_along(latched, PLACE_2 * step, drift, bend)
        holds = True
        two, three, four = one, one, one
        k2, k3 = k1, k1
        third, fourth = second, second
        if follows:
            at, latch = settled_at(walker, still, second, at, one.motor)
            holds = latch.holds
        if holds:
            two = flow_at(walker, still, second, at)
            k2 = stage_rates(two, stages, times(MIX_21, k1), known_2)
            third = gone_on(at_3, step, blend(ALONG_31, k1, ALONG_32, k2))
            if follows:
                # between where it was and where it has come to
                at = part_way(latched, at, PLACE_3 / PLACE_2)
            else:
                at = gone_along(latched, PLACE_3 * step, drift, bend)
            three = flow_at(walker, still, third, at)
            k3 = stage_rates(three, stages, blend(MIX_31, k1, MIX_32, k2), known_3)
            fourth = gone_on(at_4, step, k3)
            at, latch = settled_at(walker, still, fourth, at, three.motor)
            holds = latch.holds
        if not holds:
            if step <= shortest:
                state["status"] |= latch.status
                if latch.status != SETTLED:
                    return False, 0.0
                if is_sure:
                    return False, go_to_the_end(
                        walker, still, slopes, state, min(state["left"], step), begun, one
                    )
                # what a longer step had left was no level; only from one can the latch be known to let go
                is_sure = True
                latched, latch = settled_at(walker, still, begun, latched, one.motor)
                if not latch.holds:
                    if not light_latch(walker, still, begun, state):
                        return False, 0.0
                    latched = latched_in(state)
                one = flow_at(walker, still, begun, latched)
                slopes = slopes_at(walker, still, begun, latched, one.grip)
                drift = 0.0
                bend = 0.0
                continue
            growth = 1.0
            step = max(0.3 * step, shortest)
            continue
        off = abs(at.collector - latched.collector - goes_on)
        past = above_lit(walker, side, state["drain"], fourth, at.y, at.collector)
        if step > shortest and (past < -off_law if is_lit else past > off_law):
            # the eye goes dark, or lights, within the step
            step = max(step * (max(above / (above - past), 0.1) if is_lit else 0.3), shortest)
            continue
        if not follows and off > FAR_OFF:
            follows = True
            continue
        four = flow_at(walker, still, fourth, at)
        k4 = stage_rates(four, stages, blend(1.0, blend(MIX_41, k1, MIX_42, k2), MIX_43, k3), known_4)
        wrong = add_stages(ERRORS, k1, k2, k3, k4)
        error = step * max(
            abs(wrong.stored) / rail_scale,
            abs(wrong.coupling) / coupling_scale,
            abs(wrong.rotor) / rotor_scale,
            abs(wrong.speed) / (side["tyre_radius"] * rotor_scale),
        )
        if error > tolerance:
            step *= max(0.9 * (tolerance / error) ** (1.0 / 3.0), 0.1)
            continue
        if not error >= 0.0:
            state["status"] |= NO_NUMBER
            return False, 0.0
        if error > (0.9 / GROWTH) ** 3 * tolerance:
            growth = min(growth, 0.9 * (tolerance / error) ** (1.0 / 3.0))
        state["next_step"] = step * growth
        before = state["margin"] * state["margin"]
        now = latch.margin * latch.margin
        state["left"] = math.inf
        if latch.cover < NEAR_END:
            if now < before:
                state["left"] = step * now / (before - now)
            if FALLING < latch.cover < state["cover"]:
                # a load that is covered just so is left alone before long too
                state["left"] = min(
                    state["left"], step * (latch.cover - 1.0) / (state["cover"] - latch.cover)
                )
            state["next_step"] = min(state["next_step"], state["left"])
        state["margin"] = latch.margin
        # a parabola through where the collector was a step before, at the beginning, and is
        last = state["last_step"]
        moved = (at.collector - latched.collector) / step
        bend = 0.0
        if last > 0.0 and not is_lit:
            bend = 2.0 * (moved - state["drift"] + 0.5 * state["bend"] * last) / (step + last)
        state["drift"] = moved + 0.5 * bend * step
        state["bend"] = bend
        state["last_step"] = 0.0 if is_lit else step
        state["off"] = off
        state["guess"] = at.y
        state["collector"] = at.collector
        state["base"] = at.base
        state["given"] = at.given
        state["gain"] = at.gain
        state["cover"] = latch.cover
        state["peak"] = max(state["peak"], latch.motor)
        way = weigh_way(step, begun, second, third, fourth)
        end = gone_on(at_4, step, add_stages(WEIGHTS, k1, k2, k3, k4))
        settle_accounts(walker, side, state, step, end.stored, one, two, three, four)
        arrive(state, step, end)
        return True, way
    state["status"] |= NO_NUMBER
    return False, 0.0


@kernel
def go_to_the_end(
    walker: Any, still: Still, slopes: Slopes, state: Any, step: float, begun: CircuitPoint, one: Flow
) -> float:
    """Advance a pulse by a short ``step`` [s] in which its latch lets go; returns the floor passed [m]."""
    if state["status"] != SETTLED:
        return 0.0
    end = gone_on(
        begun, step, stage_rates(one, stages_of(slopes, step), CircuitPoint(0.0, 0.0, 0.0, 0.0), 0.0)
    )
    settle_accounts(walker, walker["side"][still.number], state, step, end.stored, one, one, one, one)
    arrive(state, step, end)
    return 0.5 * step * (begun.speed + end.speed)
