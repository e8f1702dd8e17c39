"""Kinds of light: how much radiant power, and how much panel current, one lux of each stands for.

Lux weighs a spectrum by the eye's V(λ); a panel weighs it by its own response, which reaches into the
infrared. So lux alone cannot tell a charging time: a lamp needs a kind, a panel needs a response.

A figure here stands for one published spectrum of its kind, named beside it. Real lamps of one kind differ:
incandescent lamps of 2700 K to 3000 K by ±20 % in panel current per lux, white LEDs by ±8 % where the kind is
not told closer.
"""

from typing import NamedTuple

from agents.errors import OptionError, nearest, nearest_note


class _Spectrum(NamedTuple):
    # luminous efficacy of radiation [lm/W]: 683 lm/W ∫ S V dλ / ∫ S dλ
    efficacy: float
    # short-circuit current per lux of a panel, over that per lux of sun: the spectrum weighted with the
    # panel's response in A/W, of crystalline and of amorphous silicon
    crystalline: float
    amorphous: float


_SPECTRA = {
    # AM1.5 global of ASTM G173-03, 280 nm to 4000 nm
    "sun": _Spectrum(efficacy=109.45, crystalline=1.0, amorphous=1.0),
    # CIE D65 to 780 nm, where its table ends, and on from there like AM1.5 global, joined by their means from
    # 700 nm on: droplets of clouds scatter all colours alike
    "overcast": _Spectrum(efficacy=113.7, crystalline=0.95, amorphous=1.02),
    # black body of 2856 K (the temperature of CIE illuminant A), whole spectrum
    "incandescent": _Spectrum(efficacy=16.45, crystalline=3.01, amorphous=1.03),
    # CIE LED-B1, 2733 K, 380 nm to 780 nm
    "warm-led": _Spectrum(efficacy=311.8, crystalline=0.41, amorphous=0.76),
    # CIE LED-B3, 4103 K, 380 nm to 780 nm: a white LED of which no more is known
    "white-led": _Spectrum(efficacy=317.0, crystalline=0.38, amorphous=0.76),
    # CIE LED-B5, 6598 K, 380 nm to 780 nm
    "cold-led": _Spectrum(efficacy=305.3, crystalline=0.38, amorphous=0.79),
    # CIE FL2, 380 nm to 780 nm
    "fluorescent": _Spectrum(efficacy=336.8, crystalline=0.34, amorphous=0.72),
}

KINDS = tuple(_SPECTRA)

SUN = KINDS[0]
"""The kind against which a panel's current per lux is told."""

SAME_KINDS = {"daylight": SUN}
"""Further words for kinds, which read as these."""

# Panel current per lux of each kind, over that of the sun. "flat" is a panel that would see as the eye does,
# so that lux tells all.
RESPONSES = {
    "crystalline-silicon": tuple(spectrum.crystalline for spectrum in _SPECTRA.values()),
    "amorphous-silicon": tuple(spectrum.amorphous for spectrum in _SPECTRA.values()),
    "flat": (1.0,) * len(KINDS),
}


def kind_name(kind: str) -> str:
    """Return the word of :data:`KINDS` for ``kind``, which may be one of :data:`SAME_KINDS` too.

    Raises :class:`~agents.errors.OptionError` for a kind that is not there.
    """
    kind = SAME_KINDS.get(kind, kind)
    if kind not in KINDS:
        hint = nearest_note(nearest(kind, (*KINDS, *SAME_KINDS)))
        raise OptionError(f"no kind of light {kind!r}{hint}; the kinds are {', '.join(KINDS)}")
    return kind


def kind_index(kind: str) -> int:
    """Return the place of ``kind`` in :data:`KINDS`, as records of light sources hold it.

    Raises :class:`~agents.errors.OptionError` for a kind that is not there.
    """
    return KINDS.index(kind_name(kind))


def efficacy(kind: str) -> float:
    """Return the luminous efficacy of radiation [lm/W] of light of ``kind``."""
    return _SPECTRA[kind_name(kind)].efficacy


def irradiance(illuminance: float, kind: str) -> float:
    """Return the irradiance [W/m²] that comes with ``illuminance`` [lx] of light of ``kind``."""
    return illuminance / efficacy(kind)


def illuminance(irradiance: float, kind: str) -> float:
    """Return the illuminance [lx] that comes with ``irradiance`` [W/m²] of light of ``kind``."""
    return irradiance * efficacy(kind)


def panel_weights(response: str) -> tuple[float, ...]:
    """Return the panel current per lux of every kind, in the order of :data:`KINDS`, over that of the sun.

    The panel's photocurrent is then I_ph = k Σ w_kind E_kind with k [A/lx] the panel's figure in sun.
    Raises :class:`~agents.errors.OptionError` for a response that is not in :data:`RESPONSES`.
    """
    if response not in RESPONSES:
        raise OptionError(f"no panel response {response!r}; the responses are {', '.join(RESPONSES)}")
    return RESPONSES[response]
