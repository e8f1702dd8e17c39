"""How a panel's readings came to the values of its diode, in a line for people and for JSON."""

from typing import Any

from agents.design.panel_readings import CELL_TEMPERATURE, SOLVED
from agents.design.parts import Panel
from agents.handbook.formulae import thermal_voltage
from agents.text.units import format_quantity, plain_text

# Above this share the differences are told reading by reading.
SMALL_DIFFERENCE = 0.02
# Idealities that cells have, with some room; from memory.
IDEALITIES = (0.9, 2.6)

_UNITS = {
    "current_per_light": "A/lx",
    "saturation_current": "A",
    "junction_voltage": "V",
    "series_resistance": "ohm",
    "shunt_resistance": "ohm",
}
_DIFFERENCES = {
    "open_circuit": "open-circuit voltage",
    "short_circuit": "short-circuit current",
    "best_voltage": "voltage at greatest power",
    "best_slope": "place of greatest power",
}


def panel_dict(panel: Panel) -> dict[str, Any] | None:
    """The values of a panel that is given by readings, and by what share each reading is missed."""
    if not panel.label:
        return None
    return {
        **{key: getattr(panel, key) for key in SOLVED},
        "differences": [
            {
                "light_lx": fit.reading.light,
                "light_kind": fit.reading.kind,
                **{key: getattr(fit, key) for key in _DIFFERENCES},
            }
            for fit in panel.fits
        ],
    }


def panel_lines(panel: Panel) -> list[str]:
    """What readings made of a panel, and how well they agree; empty for one that is given by its values."""
    if not panel.label:
        return []
    fits = panel.fits
    worst = max(fit.worst for fit in fits)
    count = f"{len(fits)} reading{'' if len(fits) == 1 else 's'}"
    values = [
        f"{title} {format_quantity(getattr(panel, key), _UNITS[key], digits=3)}"
        for key, title in (
            ("current_per_light", "photocurrent"),
            ("saturation_current", "saturation"),
            ("junction_voltage", "n N V_T"),
            ("series_resistance", "series"),
            ("shunt_resistance", "shunt"),
        )
    ]
    if panel.light_exponent != 1.0:
        values.insert(1, f"growing with the power {plain_text(panel.light_exponent, 3)} of light")
    if panel.cells is not None:
        ideality = panel.junction_voltage / (panel.cells * thermal_voltage(CELL_TEMPERATURE))
        values.append(f"ideality {ideality:.2f} for {panel.cells} cell{'' if panel.cells == 1 else 's'}")
        if not IDEALITIES[0] <= ideality <= IDEALITIES[1]:
            values[-1] += f", where cells have {IDEALITIES[0]} to {IDEALITIES[1]}: count them again"
    lines = [f"panel from {count}, met within {max(100.0 * worst, 0.01):.2g} %: {', '.join(values)}"]
    if worst > SMALL_DIFFERENCE:
        lines += [
            f"  {format_quantity(fit.reading.light, 'lx')} of {fit.reading.kind}: the panel gives "
            + ", ".join(
                f"{title} {100.0 * getattr(fit, key):+.1f} %"
                for key, title in _DIFFERENCES.items()
                if getattr(fit, key) is not None
            )
            for fit in fits
        ]
    return lines
