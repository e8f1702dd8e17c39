"""A walker in air that changes: what :mod:`agents.design.as_built` made for one temperature, at another.

Transistors, windings and magnets are as warm as the air; see :mod:`agents.handbook.temperature`.
"""

from typing import Any

from agents.circuit.ignition import ignition_voltage
from agents.compiled import kernel
from agents.handbook.formulae import thermal_voltage
from agents.handbook.temperature import (
    ROOM_TEMPERATURE,
    copper_growth,
    gain_growth,
    saturation_growth,
)

_saturation_growth = kernel(saturation_growth)
_gain_growth = kernel(gain_growth)
_copper_growth = kernel(copper_growth)
_thermal_voltage = kernel(thermal_voltage)
_ignition_voltage = kernel(ignition_voltage)


@kernel
def set_air(walker: Any, air: float) -> None:
    """Bring a WALKER record into ``air`` of a temperature [K], from that for which it was made."""
    before = walker["air"]
    if air == before:
        return
    saturation = _saturation_growth(air) / _saturation_growth(before)
    gain = _gain_growth(air) / _gain_growth(before)
    copper = _copper_growth(air) / _copper_growth(before)
    for number in range(2):
        side = walker["side"][number]
        side["npn"]["gain"] *= gain
        side["npn"]["reverse_gain"] *= gain
        side["npn"]["saturation_current"] *= saturation
        side["pnp"]["gain"] *= gain
        side["pnp"]["reverse_gain"] *= gain
        side["pnp"]["saturation_current"] *= saturation
        side["motor_resistance"] *= copper
        loss = side["magnet_loss"]
        side["motor_constant"] *= (1.0 - loss * (air - ROOM_TEMPERATURE)) / (
            1.0 - loss * (before - ROOM_TEMPERATURE)
        )
    walker["thermal"] = _thermal_voltage(air)
    walker["air"] = air
    for number in range(2):
        side = walker["side"][number]
        for pressed in range(2):
            side["ignition"][pressed] = _ignition_voltage(pressed == 1, side, walker["thermal"])
