"""What is published about air speeds in seeding lines: weak, and never a setting."""

from __future__ import annotations

from dataclasses import dataclass

from evenstand.reference import figure, figures

_WEAK = "Published band, weak: an opinion behind the proven speed, never a setting."


@dataclass(frozen=True, slots=True, kw_only=True)
class AirBand:
    """What is published about air speeds, with no outfit in it. None where nothing was read for the product.

    product; line_low_m_s, line_high_m_s: air speed in lines of air seeders [m/s]; critical_low_m_s, critical_high_m_s: speed at which
    this grain floats or is lifted [m/s]; sources: keys; text: says how weak it is.
    """

    product: str
    line_low_m_s: float
    line_high_m_s: float
    critical_low_m_s: float | None
    critical_high_m_s: float | None
    sources: tuple[str, ...]
    text: str


def published_air_band(product: str = "") -> AirBand:
    """What is published about air speeds in lines and for one product. It sets nothing.

    Parameters
    ----------
    product : str
        Crop or fertilizer, as "wheat", "pea", "urea", also "wheat seed"; unknown ones give the line speeds alone. [-]

    Returns
    -------
    AirBand
        Air speeds with their sources. [m/s]

    References
    ----------
    Lines: Alberta Agriculture as quoted on a third-party page, printed in an impossible unit. Floating speeds: Hůla et al. 2016 and
    2017, and others named in `reference/air.toml`.
    """
    lines = figure("air", "lines", "air-speed")
    name = product.strip().lower().removesuffix(" seed")
    found = figures("air", "critical_velocity", name) if name else ()
    text = f"Lines of air seeders are said to run {lines.low:g} to {lines.high:g} m/s (second-hand, the unit inferred). "
    if found:
        low, high = found[0].low, found[0].high
        speeds = f"{low:g} m/s" if low == high else f"{low:g} to {high:g} m/s"
        text += (
            f"{name.capitalize()} floats or is lifted at {speeds}: lines run {lines.low / high:.1f} to {lines.high / low:.1f} times that. "
        )
    elif name:
        text += f"No floating speed of {name} was read. "
    return AirBand(
        product=name,
        line_low_m_s=lines.low,
        line_high_m_s=lines.high,
        critical_low_m_s=found[0].low if found else None,
        critical_high_m_s=found[0].high if found else None,
        sources=(lines.source, *(f.source for f in found)),
        text=text + _WEAK,
    )
