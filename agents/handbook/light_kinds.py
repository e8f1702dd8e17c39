"""Kinds of light: how much radiant power, and how much panel current, one lux of each stands for.

Lux weighs a spectrum by the eye's V(λ); a panel weighs it by its own response, which reaches into the
infrared. So lux alone cannot tell a charging time: a lamp needs a kind, a panel needs a response.

A figure here stands for one published spectrum of its kind, named beside it. Real lamps of one kind differ:
incandescent lamps of 2700 K to 3000 K by ±20 % in panel current per lux, white LEDs of different colour
temperatures by ±8 %.
"""

from typing import NamedTuple

from agents.errors import OptionError


class _Spectrum(NamedTuple):
    # luminous efficacy of radiation [lm/W]: 683 lm/W ∫ S V dλ / ∫ S dλ
    efficacy: float
    # short-circuit current per lux of a panel of crystalline silicon, over that per lux of daylight: the
    # spectrum weighted with the panel's response in A/W
    silicon: float


_SPECTRA = {
    # AM1.5 global of ASTM G173-03, 280 nm to 4000 nm
    "daylight": _Spectrum(efficacy=109.45, silicon=1.0),
    # black body of 2856 K (the temperature of CIE illuminant A), whole spectrum
    "incandescent": _Spectrum(efficacy=16.45, silicon=3.01),
    # CIE LED-B3, 380 nm to 780 nm
    "white-led": _Spectrum(efficacy=317.0, silicon=0.38),
    # CIE FL2, 380 nm to 780 nm
    "fluorescent": _Spectrum(efficacy=336.8, silicon=0.34),
}

KINDS = tuple(_SPECTRA)

# Panel current per lux of each kind, over that of daylight. "flat" is a panel that would see as the eye does,
# so that lux tells all.
RESPONSES = {
    "crystalline-silicon": tuple(spectrum.silicon for spectrum in _SPECTRA.values()),
    "flat": (1.0,) * len(KINDS),
}


def kind_index(kind: str) -> int:
    """Return the place of ``kind`` in :data:`KINDS`, as records of light sources hold it.

    Raises :class:`~agents.errors.OptionError` for a kind that is not there.
    """
    if kind not in KINDS:
        raise OptionError(f"no kind of light {kind!r}; the kinds are {', '.join(KINDS)}")
    return KINDS.index(kind)


def efficacy(kind: str) -> float:
    """Return the luminous efficacy of radiation [lm/W] of light of ``kind``."""
    return _SPECTRA[KINDS[kind_index(kind)]].efficacy


def irradiance(illuminance: float, kind: str) -> float:
    """Return the irradiance [W/m²] that comes with ``illuminance`` [lx] of light of ``kind``."""
    return illuminance / efficacy(kind)


def illuminance(irradiance: float, kind: str) -> float:
    """Return the illuminance [lx] that comes with ``irradiance`` [W/m²] of light of ``kind``."""
    return irradiance * efficacy(kind)


def panel_weights(response: str) -> tuple[float, ...]:
    """Return the panel current per lux of every kind, in the order of :data:`KINDS`, over that of daylight.

    The panel's photocurrent is then I_ph = k Σ w_kind E_kind with k [A/lx] the panel's figure in daylight.
    Raises :class:`~agents.errors.OptionError` for a response that is not in :data:`RESPONSES`.
    """
    if response not in RESPONSES:
        raise OptionError(f"no panel response {response!r}; the responses are {', '.join(RESPONSES)}")
    return RESPONSES[response]
