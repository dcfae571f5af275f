"""Fertilizer left in bins overnight: the air's humidity against the critical humidity of what lies in them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from evenstand.base.errors import InputError, require_range
from evenstand.reference import Figure, figure, figures, table

KeepState = Literal["holds", "doubtful", "does-not-hold", "cannot-tell"]
_ORDER: tuple[KeepState, ...] = ("does-not-hold", "doubtful", "cannot-tell", "holds")


@dataclass(frozen=True, slots=True, kw_only=True)
class Keeping:
    """Whether product may stay in a bin.

    products: what lies in it; state: of the claim that it keeps; empty: whether to empty or run the bin out; critical, critical_high:
    lowest and highest critical relative humidity given for it [-]; source: of the lowest; seen: how far that source was seen;
    highest: of the forecast [-]; hours_above: hours above the lowest critical value, hours_near: within the margin below it, and
    hours: forecast in all, None for a single value [h]; first_hour: index of the first hour above [-]; sentence: the answer; note: what
    else to mind.
    """

    products: tuple[str, ...]
    state: KeepState
    empty: bool
    critical: float | None
    critical_high: float | None
    source: str
    seen: str
    highest: float | None
    hours_above: float | None
    hours_near: float | None
    hours: float | None
    first_hour: int | None
    sentence: str
    note: str


def critical_humidity(product: str) -> tuple[Figure, ...]:
    """Relative humidities above which a fertilizer takes up water, one for each source, the lowest first.

    Parameters
    ----------
    product : str
        Key of the table of fertilizers, such as "urea". [-]

    Returns
    -------
    tuple of Figure
        Empty where none is held. [-]

    Examples
    --------
    >>> [(f.value, f.seen) for f in critical_humidity("urea")]
    [(0.7, 'read'), (0.72, 'practice')]
    """
    return tuple(sorted(figures("fertilizers", product, "critical_humidity"), key=lambda f: f.low))


def keeps_overnight(
    products: str | Sequence[str],
    humidity: float | Sequence[float] | None,
    *,
    temperature_c: float | Sequence[float] | None = None,
    margin: float | None = None,
    own_critical: Mapping[str, float] | None = None,
    own_blend_critical: float | None = None,
) -> Keeping:
    """Whether a product, or a blend, keeps in a bin under the humidity forecast.

    The lowest critical value of all sources warns. A blend takes up moisture below the lower of its parts' values: by how much is not
    published here, so below them the answer is "cannot-tell" unless you type the blend's own value.

    Parameters
    ----------
    products : str or sequence of str
        Key of the table of fertilizers; several are a blend. [-]
    humidity : float, sequence of float or None
        Relative humidity forecast, one value or one an hour. [-]
    temperature_c : float, sequence of float or None
        Air temperature forecast: used for the note only. [°C]
    margin : float or None
        How far the forecast may be out; None is the usual one of common practice. [-]
    own_critical : mapping of str to float or None
        Critical humidity from the supplier, by product. [-]
    own_blend_critical : float or None
        Critical humidity of the blend itself, from the supplier. [-]

    Returns
    -------
    Keeping
        State, hours above and the sentence to act on. A value of common practice alone never makes "does-not-hold". [-]

    Raises
    ------
    InputError
        If no product is given.
    RangeError
        If a humidity is outside 0 to 1.

    Examples
    --------
    >>> k = keeps_overnight("urea", [0.55, 0.66, 0.74, 0.81, 0.69])
    >>> k.state, k.hours_above, k.hours_near, k.first_hour
    ('does-not-hold', 2, 2, 2)
    """
    names = (products,) if isinstance(products, str) else tuple(dict.fromkeys(products))
    if not names:
        raise InputError("no product is given", where="products", cure="Say what lies in the bin.")
    allowance = figure("treating", "humidity", "forecast_margin").value if margin is None else margin
    require_range("margin", allowance, 0, 1)
    known = {name: _critical(name, own_critical or {}) for name in names}
    blend = len(names) > 1
    values = [f for found in known.values() for f in found]
    if blend and own_blend_critical is not None:
        require_range("own_blend_critical", own_blend_critical, 0, 1, low_open=True)
        values = [_own("blend", own_blend_critical)]
    hours = _hours(humidity)
    note = _note(names, known, temperature_c, own_blend=own_blend_critical is not None)
    if not values or hours is None:
        return _unknown(names, values, note, humid=hours is not None)
    lowest = min(values, key=lambda f: f.low)
    per_part = [max(f.high for f in found) for found in known.values() if found]
    highest_critical = own_blend_critical if blend and own_blend_critical is not None else min(per_part)
    several = not isinstance(humidity, int | float)
    above = [h for h in hours if h >= lowest.low]
    near = [h for h in hours if lowest.low - allowance <= h < lowest.low]
    partial = blend and own_blend_critical is None
    state = _state(max(hours), lowest, highest_critical, allowance, partial=partial, gaps=any(not found for found in known.values()))
    return Keeping(
        products=names,
        state=state,
        empty=state in {"does-not-hold", "doubtful"},
        critical=lowest.low,
        critical_high=highest_critical,
        source=lowest.source,
        seen=lowest.seen,
        highest=max(hours),
        hours_above=len(above) if several else None,
        hours_near=len(near) if several else None,
        hours=len(hours) if several else None,
        first_hour=next((i for i, h in enumerate(hours) if h >= lowest.low), None) if several else None,
        sentence=_sentence(names, state, lowest, hours, len(above) if several else None),
        note=note,
    )


def bins_overnight(
    bins: Mapping[str, Sequence[str]],
    humidity: float | Sequence[float] | None,
    *,
    temperature_c: float | Sequence[float] | None = None,
    margin: float | None = None,
    own_critical: Mapping[str, float] | None = None,
) -> tuple[tuple[str, Keeping], ...]:
    """All bins at once, those to empty first.

    Parameters
    ----------
    bins : mapping of str to sequence of str
        Bin letter to the fertilizers in it; several are a blend, none is an empty bin and is left out. [-]
    humidity, margin, own_critical
        As in `keeps_overnight`. [-]
    temperature_c : float, sequence of float or None
        Air temperature forecast: used for the note only. [°C]

    Returns
    -------
    tuple of (str, Keeping)
        The worst first, bins in their order within. [-]

    Raises
    ------
    RangeError
        If a humidity is outside 0 to 1.
    """
    found = [
        (letter, keeps_overnight(tuple(held), humidity, temperature_c=temperature_c, margin=margin, own_critical=own_critical))
        for letter, held in bins.items()
        if held
    ]
    return tuple(sorted(found, key=lambda pair: _ORDER.index(pair[1].state)))


def _critical(name: str, own: Mapping[str, float]) -> tuple[Figure, ...]:
    """Critical values of one product: the one typed, else all that are held. [-]"""
    if name in own:
        require_range(f"critical humidity of {name}", own[name], 0, 1, low_open=True)
        return (_own(name, own[name]),)
    return critical_humidity(name)


def _own(name: str, value: float) -> Figure:
    return Figure(key=name, low=value, high=value, unit="-", source="as typed", where="supplier", seen="read")


def _hours(humidity: float | Sequence[float] | None) -> tuple[float, ...] | None:
    """The forecast as a row of hours; None if there is none. [-]"""
    if humidity is None:
        return None
    hours = (float(humidity),) if isinstance(humidity, int | float) else tuple(float(h) for h in humidity)
    for h in hours:
        require_range("humidity", h, 0, 1)
    return hours or None


def _state(highest: float, lowest: Figure, critical_high: float, margin: float, *, partial: bool, gaps: bool) -> KeepState:
    """Of the claim that what lies in the bin keeps."""
    if highest >= lowest.low:
        sure = highest >= critical_high and lowest.seen != "practice"
        return "does-not-hold" if sure else "doubtful"
    if highest >= lowest.low - margin:
        return "doubtful"
    return "cannot-tell" if partial or gaps else "holds"


def _unknown(names: tuple[str, ...], values: Sequence[Figure], note: str, *, humid: bool) -> Keeping:
    """What to say without a forecast or without a critical value."""
    lowest = min(values, key=lambda f: f.low) if values else None
    what = " and ".join(_name(n) for n in names)
    if not humid:
        limit = f" It takes up water above {100 * lowest.low:.0f} % relative humidity ({_cited(lowest)})." if lowest else ""
        sentence = f"{what}: type tonight's humidity, one value or one an hour.{limit}"
    else:
        sentence = f"{what}: no critical humidity is held; ask the supplier for it and type it."
    return Keeping(
        products=names,
        state="cannot-tell",
        empty=False,
        critical=lowest.low if lowest else None,
        critical_high=lowest.high if lowest else None,
        source=lowest.source if lowest else "",
        seen=lowest.seen if lowest else "",
        highest=None,
        hours_above=None,
        hours_near=None,
        hours=None,
        first_hour=None,
        sentence=sentence,
        note=note,
    )


def _sentence(names: tuple[str, ...], state: KeepState, lowest: Figure, hours: Sequence[float], above: int | None) -> str:
    """The answer in a sentence. [-]"""
    what = " and ".join(_name(n) for n in names)
    takes, keeps = ("take up", "keep") if len(names) > 1 else ("takes up", "keeps")
    limit = f"{100 * lowest.low:.0f} % ({_cited(lowest)})"
    top = f"{100 * max(hours):.0f} %"
    long = f", {above} of {len(hours)} hours above" if above else ""
    if state == "does-not-hold":
        return f"Empty this bin tonight, or run it out: {what} {takes} water above {limit}, forecast {top}{long}."
    if state == "doubtful":
        return f"Better empty this bin tonight: {what} {takes} water above {limit}, forecast {top}{long}."
    if state == "holds":
        return f"{what} {keeps}: forecast {top}, critical {limit}."
    if len(names) > 1:
        rest = "but a mixture takes up moisture lower than either, and by how much is not published."
        return f"{what}: forecast {top} is below {limit}, {rest}"
    return f"{what}: forecast {top}."


def _note(
    names: tuple[str, ...], known: Mapping[str, Sequence[Figure]], temperature_c: float | Sequence[float] | None, *, own_blend: bool
) -> str:
    """Several sources, blends, gaps and temperature. [-]"""
    parts = []
    for name, found in known.items():
        if len({f.low for f in found}) > 1:
            said = ", ".join(f"{100 * f.low:.0f} % ({_cited(f)})" for f in found)
            parts.append(f"{_name(name)}: {said}; the lowest warns.")
        if not found and len(names) > 1:
            parts.append(f"No critical humidity of {_name(name)} is held: type the supplier's.")
    if len(names) > 1 and not own_blend:
        parts.append("A blend's own critical humidity is lower than either part's; no figure for it is held.")
    if temperature_c is not None:
        degrees = [temperature_c] if isinstance(temperature_c, int | float) else list(temperature_c)
        for t in degrees:
            require_range("temperature_c", t, -50, 99, unit="°C")
        low, high = min(degrees), max(degrees)
        span = f"{low:g} °C" if low == high else f"{low:g} to {high:g} °C"
        parts.append(f"Forecast {span}: no critical value held here says for which temperature it was found.")
    parts.append("Air that cools at night gets more humid: a forecast by the hour says more than the day's mean.")
    parts.append("Look for lumps at the first fill.")
    return " ".join(parts)


def _cited(found: Figure) -> str:
    return "common practice" if found.seen == "practice" else found.source


def _name(product: str) -> str:
    entry = table("fertilizers").get(product)
    return str(entry["name"]) if entry else product
