"""Kinds of light: how much radiant power, and how much panel current, one lux of each stands for.

Lux weighs a spectrum by the eye's V(λ); a panel weighs it by its own response, which reaches into the
infrared. So lux alone cannot tell a charging time: a lamp needs a kind, a panel needs a response.

A figure here stands for one published spectrum of its kind, named beside it. Real lamps of one kind differ:
incandescent lamps of 2700 K to 3000 K by ±20 % in panel current per lux, white LEDs of different colour
temperatures by ±8 %.
"""

from agents.errors import OptionError

KINDS = ("daylight", "incandescent", "white-led", "fluorescent")

# Luminous efficacy of radiation [lm/W] of each kind: 683 lm/W ∫ S V dλ / ∫ S dλ.
EFFICACIES = (
    109.45,  # AM1.5 global of ASTM G173-03, 280 nm to 4000 nm
    16.45,  # black body of 2856 K (the temperature of CIE illuminant A), whole spectrum
    317.0,  # CIE LED-B3, 380 nm to 780 nm
    336.8,  # CIE FL2, 380 nm to 780 nm
)

# Short-circuit current per lux of each kind, over that per lux of daylight: the spectra above weighted with
# the panel's response in A/W. "flat" is a panel that would see as the eye does, so that lux tells all.
RESPONSES = {
    "crystalline-silicon": (1.0, 3.01, 0.38, 0.34),
    "flat": (1.0, 1.0, 1.0, 1.0),
}


def kind_index(kind: str) -> int:
    """Return the place of ``kind`` in :data:`KINDS`, as records of light sources hold it.

    Raises :class:`~agents.errors.OptionError` for a kind that is not there.
    """
    if kind not in KINDS:
        raise OptionError(f"no kind of light {kind!r}; the kinds are {', '.join(KINDS)}")
    return KINDS.index(kind)


def irradiance(illuminance: float, kind: str) -> float:
    """Return the irradiance [W/m²] that comes with ``illuminance`` [lx] of light of ``kind``."""
    return illuminance / EFFICACIES[kind_index(kind)]


def illuminance(irradiance: float, kind: str) -> float:
    """Return the illuminance [lx] that comes with ``irradiance`` [W/m²] of light of ``kind``."""
    return irradiance * EFFICACIES[kind_index(kind)]


def panel_weights(response: str) -> tuple[float, ...]:
    """Return the panel current per lux of every kind, in the order of :data:`KINDS`, over that of daylight.

    The panel's photocurrent is then I_ph = k Σ w_kind E_kind with k [A/lx] the panel's figure in daylight.
    Raises :class:`~agents.errors.OptionError` for a response that is not in :data:`RESPONSES`.
    """
    if response not in RESPONSES:
        raise OptionError(f"no panel response {response!r}; the responses are {', '.join(RESPONSES)}")
    return RESPONSES[response]
