"""The flat records in which the kernels see one walker as built.

All in SI units, light in lux. Places are in the walker's own frame: the origin on the floor under the middle
of the axle; ``ahead``, ``aside`` to the left, ``height``. Side 0 is the left one, side 1 the right one.
"""

import numpy as np

from agents.handbook.light_kinds import KINDS

TABLE_POINTS = 16
CORE_POINTS = 8
LIGHT_KINDS = len(KINDS)

TRANSISTOR = np.dtype(
    [
        ("gain", np.float64),  # forward current gain between the two knees
        ("knee", np.float64),  # collector current at which the gain has halved [A]
        ("saturation_current", np.float64),  # transport saturation current [A]
        ("reverse_gain", np.float64),
        ("low_knee", np.float64),  # collector current below which the gain has halved again [A]
        ("early", np.float64),  # one over the Early voltage [1/V]
    ],
    align=True,
)

SIDE = np.dtype(
    [
        ("dark_trigger", np.float64),  # eye's trigger in the dark [V]
        ("slope", np.float64),  # rise of the trigger [V a decade of light]
        ("knee_light", np.float64),  # light at which the rise sets in [lx]
        ("tape", np.float64),  # transmission of tape or sleeve over the eye
        ("table_count", np.int64),  # bench table of the eye; 0 means the formula
        ("table_light", np.float64, (TABLE_POINTS,)),  # log10(1 + E / lx)
        ("table_volts", np.float64, (TABLE_POINTS,)),
        ("quiet_current", np.float64),
        ("lit_voltage", np.float64),
        ("flash_resistance", np.float64),
        ("jitter", np.float64),  # standard deviation of the trigger [V]
        ("ignition", np.float64, (2,)),  # voltage at the eye that turns the latch on, free and pressed [V]
        ("eye_ahead", np.float64),
        ("eye_aside", np.float64),
        ("eye_height", np.float64),
        ("aim_x", np.float64),
        ("aim_y", np.float64),
        ("aim_z", np.float64),
        ("lobe", np.float64),  # exponent of the acceptance lobe
        ("series", np.float64),
        ("coupling", np.float64),
        ("latch", np.float64),
        ("feeler", np.float64),  # inf where there is none
        ("npn", TRANSISTOR),
        ("pnp", TRANSISTOR),
        ("motor_resistance", np.float64),
        ("motor_constant", np.float64),  # V s/rad and N m/A
        ("magnet_loss", np.float64),  # share of the flux that its magnet loses a kelvin [1/K]
        ("rotor_inertia", np.float64),
        ("motor_friction", np.float64),  # N m
        ("turns", np.float64),  # +1, or -1 for a motor wired to turn the other way
        ("tyre_radius", np.float64),
        ("tyre_grip", np.float64),  # greatest tyre force = friction coefficient times load [N]
        ("slip_speed", np.float64),
        ("idle_roll", np.float64),  # force that it takes to roll the tyre while its motor is off [N]
        ("whisker", np.int64),  # 1 where there is one
        ("root_ahead", np.float64),
        ("root_aside", np.float64),
        ("tip_ahead", np.float64),
        ("tip_aside", np.float64),
        ("whisker_height", np.float64),
        ("bend_to_close", np.float64),
    ],
    align=True,
)

WALKER = np.dtype(
    [
        ("side", SIDE, (2,)),
        ("photo_per_lux", np.float64),  # A/lx of sun, in the light of the measurement
        ("light_exponent", np.float64),  # power of the light with which the photocurrent grows
        ("measured_light", np.float64),  # light of that measurement [lx]
        ("response", np.float64, (LIGHT_KINDS,)),  # current a lux of each kind of light, sun = 1
        ("air", np.float64),  # temperature of the air [K], for which all but the panel is given
        ("warming", np.float64, (LIGHT_KINDS,)),  # by which a lux of each kind warms the panel [K/lx]
        ("panel_saturation", np.float64),  # at 25 degC [A]
        ("panel_thermal", np.float64),  # ideality times cells times thermal voltage, at 25 degC [V]
        ("panel_gap", np.float64),  # band gap at 25 degC [eV]
        ("panel_gap_change", np.float64),  # share of it by which it changes a kelvin [1/K]
        ("panel_series", np.float64),
        ("panel_shunt", np.float64),  # inf where there is none
        ("panel_ahead", np.float64),
        ("panel_height", np.float64),
        ("panel_length", np.float64),  # along the walker
        ("panel_width", np.float64),
        ("capacitance", np.float64),
        ("leak", np.float64),
        ("esr", np.float64),
        ("start_rail", np.float64),  # storage voltage at the start [V]
        ("thermal", np.float64),  # thermal voltage of the transistors [V]
        ("track", np.float64),
        ("pivot_mass", np.float64),  # inertia about the standing tyre over track squared [kg]
        ("drag", np.float64),  # force at the driven tyre that resists rolling [N]
        ("rim_friction", np.float64),  # coefficient of the body's rim on walls and on others
        ("skid", np.float64),  # force that it takes to drag the walker across its heading [N]
        ("tow", np.float64),  # and along it, where both tyres roll and turn their motors [N]
        ("body_ahead", np.float64),  # centre of the body's bounding circle ahead of the axle
        ("body_reach", np.float64),  # radius of that circle
        ("body_radius", np.float64),  # rounding of the core polygon
        ("body_height", np.float64),
        ("shade_radius", np.float64),  # radius of the circle with the body's area
        ("core_count", np.int64),
        ("core", np.float64, (CORE_POINTS, 2)),
        ("tolerance", np.float64),  # relative error that a step of a pulse may have
    ],
    align=True,
)

# What changes while a walker lives; a bench walker uses the electrical part only.
STATE = np.dtype(
    [
        ("rail", np.float64),  # voltage in the storage [V]
        ("coupling", np.float64),  # voltage across the coupling capacitor, PNP base minus eye [V]
        ("rotor", np.float64),  # speed of motor and tyre [rad/s]
        ("speed", np.float64),  # speed of the floor under the driven tyre [m/s]
        ("leans", np.float64),  # part of the tyre's pull that is lost to what the walker leans on [-]
        ("rubs", np.float64),  # and the force that resists it besides its drag then [N]
        ("collector", np.float64),  # voltage at the NPN's collector while the latch holds [V]
        ("elapsed", np.float64),  # time since the flash [s]
        ("cover", np.float64),  # capability of the NPN over its load; inf before the first step
        ("guess", np.float64),  # the last solution for the base current, from which the next one starts
        ("base", np.float64),  # the base current that goes with it [A]
        ("given", np.float64),  # what the PNP gives the NPN's base then [A]
        ("gain", np.float64),  # and by how much more for each ampere of base current
        ("drift", np.float64),  # by how much the collector goes on at the end of the last step [V/s]
        ("bend", np.float64),  # and how that changes [V/s2]
        ("last_step", np.float64),  # the last step, 0 before the first [s]
        ("off", np.float64),  # by how much the collector came to stand beside where it was to go in it [V]
        ("next_step", np.float64),  # step that is likely to do, 0 before the first [s]
        ("margin", np.float64),  # how far the last step's latch was from letting go [V]
        ("left", np.float64),  # time until it lets go, as that margin falls; inf before it does [s]
        ("panel", np.float64),  # the panel's current when last looked at [A]
        ("panel_slope", np.float64),  # and how it changes with the rail [A/V]
        ("panel_rail", np.float64),  # and the rail then [V]
        ("drain", np.float64),  # current other than the motor's in the last stage, for the ESR [A]
        ("peak", np.float64),  # greatest motor current of this pulse [A]
        ("charge", np.float64),  # charge through the motor in this pulse [C]
        ("status", np.int64),  # codes of agents.circuit.status, joined; once set they stay
        # energy since the start [J]
        ("panel_energy", np.float64),
        ("motor_energy", np.float64),
        ("base_energy", np.float64),
        ("eye_energy", np.float64),
        ("leak_energy", np.float64),
        ("esr_energy", np.float64),
    ],
    align=True,
)
