"""Keep a stand or sow again, as each publisher says it for that crop; publishers are never mixed."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

from evenstand.agronomy.crops import find_crop
from evenstand.agronomy.lateness import LateSeeding, late_seeding
from evenstand.agronomy.stands import Stand
from evenstand.base.errors import InputError, require_range
from evenstand.base.units import from_metric
from evenstand.reference import source, table

Keep = Literal["keep", "weigh", "reseed", "cannot-tell", "not-published"]


@dataclass(frozen=True, slots=True, kw_only=True)
class KeepAdvice:
    """What one publisher says of a stand.

    verdict: "keep"; "weigh" where it leaves the choice to circumstances; "reseed"; "cannot-tell" where the interval of the stand reaches
    over more than one of these; "not-published" where it prints nothing for that stand, or for the crop. words: what it says, shortened;
    at_low, at_stand, at_high: its verdicts at both ends of the interval and at the stand itself. potential_low, potential_high: share of
    the full yield over the interval, where it prints one [-]. about: crops it speaks of; source: its key; seen: how far it was read.
    """

    publisher: str
    about: str
    verdict: Keep
    words: str
    at_low: Keep
    at_stand: Keep
    at_high: Keep
    potential_low: float | None
    potential_high: float | None
    source: str
    seen: str
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class KeepOrReseed:
    """advice: one for each publisher that speaks of the crop, in no order of merit; empty, and `note` says so, where none does.
    late: what that many days cost where a publisher of late seeding covers the crop, else None; note: what is left to the owner."""

    crop: str
    advice: tuple[KeepAdvice, ...]
    late: LateSeeding | None
    note: str


def keep_publishers(crop: str = "") -> tuple[str, ...]:
    """Publishers on keeping or reseeding.

    Parameters
    ----------
    crop : str
        Only those that speak of this crop; all without it. [-]

    Returns
    -------
    tuple of str
        Their keys. [-]
    """
    key = find_crop(crop) if crop else None
    return tuple(name for name, sheet in table("reseeding").items() if not crop or key in sheet["crops"])


def keep_or_reseed(
    crop: str, stand: Stand, *, publisher: str = "", wanted_m2: float | None = None, days_late: float | None = None
) -> KeepOrReseed:
    """Whether a stand is worth keeping, publisher by publisher.

    Parameters
    ----------
    crop : str
        As `find_crop` takes it. [-]
    stand : Stand
        Counted. [plants/m²]
    publisher : str
        Key from `keep_publishers()`; all that speak of the crop without it. [-]
    wanted_m2 : float or None
        Stand wanted, for publishers who reckon in shares of it. [plants/m²]
    days_late : float or None
        Days after the optimum a reseeding would go in. [d]

    Returns
    -------
    KeepOrReseed
        Prices, seed, fuel and insurance are the owner's to weigh: no sum is made here. [-]

    Raises
    ------
    InputError
        If the publisher is unknown.
    RangeError
        If wanted_m2 or days_late is outside its range.

    References
    ----------
    Penn State Extension, wheat stand assessment; University of Minnesota and North Dakota State University Extension, small grains; Kansas
    State University, winter wheat; Canola Council of Canada.

    Examples
    --------
    >>> from evenstand.agronomy.stands import stand_from_counts
    >>> counted = stand_from_counts([52, 49, 55, 47, 51, 50], 0.25)
    >>> [(a.publisher, a.verdict) for a in keep_or_reseed("barley", counted).advice][0]
    ('University of Minnesota Extension', 'keep')
    """
    if publisher and publisher not in keep_publishers():
        raise InputError(f"'{publisher}' is no publisher on reseeding", where="publisher", cure=f"Use {', '.join(keep_publishers())}.")
    if wanted_m2 is not None:
        require_range("wanted_m2", wanted_m2, 0, low_open=True, unit="plants/m²")
    names = [name for name in keep_publishers(crop) if not publisher or name == publisher]
    advice = tuple(_advice(table("reseeding")[name], stand, wanted_m2) for name in names)
    late = late_seeding(crop, days_late) if days_late is not None else None
    if not advice:
        note = f"Not published for {crop}{' by that publisher' if publisher else ''}, as far as it was read."
    else:
        note = "Weigh it with your own prices: seed, work and days on one side, what the stand still gives on the other."
    return KeepOrReseed(crop=find_crop(crop) or crop, advice=advice, late=late, note=note)


def _advice(sheet: Mapping[str, Any], stand: Stand, wanted_m2: float | None) -> KeepAdvice:
    """One publisher's say on the stand and on both ends of its interval."""
    of_target = sheet.get("of_target", False)
    if of_target and wanted_m2 is None:
        return _made(sheet, "cannot-tell", ("cannot-tell",) * 3, "It reckons in shares of the stand wanted: say what was wanted.", None)
    said = [_say(sheet, value, wanted_m2) for value in (stand.low, stand.plants_m2, stand.high)]
    verdicts = tuple(verdict for verdict, _, _ in said)
    potentials = [p for _, _, found in said for p in found]
    potential = (min(potentials), max(potentials)) if potentials else None
    if len(set(verdicts)) == 1:
        words = " / ".join(dict.fromkeys(text for _, text, _ in said if text)) or "It prints nothing for such a stand."
        return _made(sheet, verdicts[0], verdicts, words, potential)
    words = f"At the stand itself: {said[1][1] or 'nothing printed'}. The counts leave more than one answer open: count more places."
    return _made(sheet, "cannot-tell", verdicts, words, potential)


def _say(sheet: Mapping[str, Any], plants_m2: float, wanted_m2: float | None) -> tuple[Keep, str, tuple[float, ...]]:
    """Verdict, words and potentials of all bands that hold a stand; between two bands that print a potential, of both."""
    value, hits = 0.0, []
    for band in sheet["bands"]:
        printed = band["stand"]
        if sheet.get("of_target", False) and wanted_m2 is not None:
            value = plants_m2 / wanted_m2
        else:
            value = from_metric(plants_m2, "stand", printed.unit)
        top = math.inf if band.get("above", False) else printed.high
        if printed.low * (1 - 1e-9) <= value <= top * (1 + 1e-9):
            hits.append(band)
    order = ("reseed", "weigh", "keep").index
    if hits:  # on the line between two bands the thicker one holds
        verdict = max((band["verdict"] for band in hits), key=order)
        hits = [band for band in hits if band["verdict"] == verdict]
    else:  # between two bands both speak, and the thinner one decides
        hits = _neighbours(sheet, value)
        if not hits:
            return "not-published", "", ()
        verdict = min((band["verdict"] for band in hits), key=order)
    potentials = tuple(p for band in hits if "potential" in band for p in (band["potential"].low, band["potential"].high))
    return verdict, ", or ".join(dict.fromkeys(band["words"] for band in hits)), potentials


def _neighbours(sheet: Mapping[str, Any], value: float) -> list[Mapping[str, Any]]:
    """The two bands a stand falls between, where the table prints potentials; above its thickest band, that one."""
    rows = [band for band in sheet["bands"] if "potential" in band]
    if not rows:
        return []
    thicker = [band for band in rows if band["stand"].low > value]
    thinner = [band for band in sheet["bands"] if band["stand"].high < value]
    if not thicker:
        return rows[:1]
    return [thicker[-1], *thinner[:1]]


def _made(sheet: Mapping[str, Any], verdict: Keep, at: tuple[Keep, ...], words: str, potential: tuple[float, float] | None) -> KeepAdvice:
    return KeepAdvice(
        publisher=sheet["publisher"], about=sheet["about"], verdict=verdict, words=words, at_low=at[0], at_stand=at[1], at_high=at[2],
        potential_low=potential[0] if potential else None, potential_high=potential[1] if potential else None,
        source=sheet["source"], seen=source(sheet["source"]).seen, note=sheet.get("note", ""),
    )  # fmt: skip
