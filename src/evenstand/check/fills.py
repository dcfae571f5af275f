"""The fill check: hectares since the last fill, what went in, what the bin looks like, one sentence.

used = level before + put in - level now is what a witness knows; expected = dose x area is what the numbers promise. The
overlap is no noise: ground sown twice takes product and adds no field area, so the expected use is a band, widest upwards.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from evenstand.base.errors import Fault, InputError, RangeError, require_range
from evenstand.base.estimate import Est
from evenstand.base.units import Profile, rounded, shown
from evenstand.check.masses import VOLUME_HOW
from evenstand.model import Finding, State

WORTH_STOPPING = 0.05
SEEN_Z = 1.645  # an error is "seen" when it stands outside the one-sided 95 % limit
DOUBT_Z = 2.0
BELIEVE_Z = 3.0
_FINE_SHARE = 0.02


@dataclass(frozen=True, slots=True, kw_only=True)
class FillTaken:
    """One interval between two looks into the bin. area_ha sown in it [ha]; put_kg at its start and how well known [kg];
    level_kg at its end and how well known; None: not looked at [kg]. how: as in `model.HowKnown`; fills to the brim repeat the error of
    one bulk density, so theirs does not average out."""

    area_ha: float
    put_kg: float
    put_sd_kg: float
    level_kg: float | None = None
    level_sd_kg: float | None = None
    how: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class FillSeries:
    """Several fills taken together. ratio: used over expected [-]; sd: of the ratio [-]; used_kg, expected_kg [kg];
    more_fills: like these until an error of 2 % stands out; 0 now, None never by fills alone; finding: the sentence;
    each: ratio and its sd after 1, 2, ... fills [-]; odd: the interval, from 1, that looks like one load too many or too few."""

    ratio: float
    sd: float
    used_kg: float
    expected_kg: float
    more_fills: int | None
    finding: Finding
    each: tuple[tuple[float, float], ...]
    odd: int | None


def fill_check(
    area_ha: float,
    put_kg: float,
    level_kg: float,
    dose_kg_ha: float,
    *,
    level_before_kg: float = 0,
    put_sd_kg: float,
    level_sd_kg: float,
    dose_sd: float = 0.02,
    overlap: tuple[float, float] = (0, 0.03),
    level_before_sd_kg: float = 0,
    worth: float = WORTH_STOPPING,
    bin: str = "",
    product: str = "",
    profile: Profile = "si",
) -> Finding:
    """Compare what went out of the bin with the hectares sown.

    Parameters
    ----------
    area_ha : float
        Field area sown since the fill; for an area counter, which counts overlap itself, give `overlap=(0, 0)`. [ha]
    put_kg : float
        Put in at the fill. [kg]
    level_kg : float
        In the bin now. [kg]
    dose_kg_ha : float
        Dose, best as proven by a catch test or earlier fills. [kg/ha]
    level_before_kg : float
        In the bin before the fill. [kg]
    put_sd_kg, level_sd_kg, level_before_sd_kg : float
        Standard deviation of each: how it was known. [kg]
    dose_sd : float
        Standard deviation of the dose as a share of it. [-]
    overlap : (float, float)
        Least and most of the ground that is sown twice, as shares; one-sided, not noise. [-]
    worth : float
        Error worth stopping for, as a share. [-]
    bin, product : str
        Letter of the bin and name of the product, for the sentence. [-]
    profile : str
        Units of the sentence. [-]

    Returns
    -------
    Finding
        state "cannot-tell" while an error of `worth` could hide, "holds", "doubtful" (over 2 sd outside) or "does-not-hold"
        (over 3 sd); size: error of the dose as a share, overlap taken at its middle; low, high: 95 % interval of it, the
        overlap anywhere in its band. [-]

    Raises
    ------
    RangeError
        If an area or dose is not above 0, a mass or sd is negative, or more is left than was there beyond what the sds allow.

    References
    ----------
    definition: mass before + put in - left = dose x area x (1 + overlap); variances of independent readings add up; quantiles of a
    normal and an even error together. Held against simulated fills of every way of knowing.

    Examples
    --------
    4,000 kg in, 400 kg left by the low-level light, 29.6 ha at 121 kg/ha: 3,600 kg used, 3,582 to 3,689 expected.

    >>> fill_check(29.6, 4000, 400, 121, put_sd_kg=20, level_sd_kg=50).state
    'holds'
    """
    _check_fill(area_ha, put_kg, level_kg, dose_kg_ha, level_before_kg, (put_sd_kg, level_sd_kg, level_before_sd_kg, dose_sd), overlap)
    used, expected = level_before_kg + put_kg - level_kg, dose_kg_ha * area_ha
    mass_sd = math.sqrt(put_sd_kg**2 + level_sd_kg**2 + level_before_sd_kg**2)
    parts = {"put": put_sd_kg / expected, "level": level_sd_kg / expected, "before": level_before_sd_kg / expected, "dose": dose_sd}
    if used < -3 * mass_sd - 1e-9:
        raise RangeError(
            f"{shown(level_kg, 'mass', profile)} is more than was ever in the bin",
            where="level_kg",
            limit=f"level now <= {shown(level_before_kg + put_kg, 'mass', profile)}",
            cure="Was a fill left out? Enter it, or correct the level.",
        )
    return _fill_finding(used, expected, parts, overlap, worth, bin, product, profile, fills=1)


def _check_fill(
    area_ha: float,
    put_kg: float,
    level_kg: float,
    dose_kg_ha: float,
    before_kg: float,
    sds: tuple[float, ...],
    overlap: tuple[float, float],
) -> None:
    faults: list[Fault] = []
    limits = [("area_ha", area_ha, True, "ha"), ("dose_kg_ha", dose_kg_ha, True, "kg/ha"), ("put_kg", put_kg, False, "kg")]
    limits += [("level_kg", level_kg, False, "kg"), ("level_before_kg", before_kg, False, "kg")]
    limits += [(n, v, False, "") for n, v in zip(("put_sd_kg", "level_sd_kg", "level_before_sd_kg", "dose_sd"), sds, strict=True)]
    for name, value, positive, unit in limits:
        try:
            require_range(name, value, 0, math.inf, low_open=positive, high_open=True, unit=unit)
        except RangeError as error:
            faults.extend(error.faults)
    if not (len(overlap) == 2 and 0 <= overlap[0] <= overlap[1] < 1):
        faults.append(Fault(where="overlap", what=f"{overlap} is no band", limit="0 <= least <= most < 1"))
    if faults:
        raise RangeError(faults)


def _fill_finding(
    used: float,
    expected: float,
    parts: dict[str, float],
    overlap: tuple[float, float],
    worth: float,
    bin: str,
    product: str,
    profile: Profile,
    *,
    fills: int,
) -> Finding:
    """The verdict on used against expected; parts: relative sds by where they come from."""
    ratio = used / expected
    sd = math.sqrt(sum(s * s for s in parts.values()))
    low, high = 1 + overlap[0], 1 + overlap[1]
    outside = max(0.0, ratio - high) - max(0.0, low - ratio)
    z = math.inf if sd == 0 and outside else (0.0 if outside == 0 else abs(outside) / sd)
    state = _state(z, sd, worth)
    middle = (low + high) / 2
    spread = math.hypot(sd, (high - low) / math.sqrt(12))
    size = Est(value=ratio / middle - 1, sd=spread / middle, basis="computed", source="fill check")
    reach = _reach(sd, (high - low) / 2)
    interval = (size.value - reach / middle, size.value + reach / middle)
    band = (expected * (middle - reach), expected * (middle + reach))
    suspects = () if state in ("holds", "cannot-tell") else (_fill_suspects(outside, bin, counter=overlap[1] == 0),)
    settle = "" if state == "holds" else _fill_settle(parts, state, bin, fills)
    return Finding(
        claim=_fill_claim(state, used, band, size, spread, worth, _fill_name(bin, product, fills), profile, outside),
        state=state,
        suspects=suspects,
        size=size,
        evidence=_fill_evidence(used, expected, ratio, overlap, parts, profile),
        settle_by=settle,
        worth_stopping=None if state == "cannot-tell" else (state != "holds" and abs(size.value) >= worth),
        confirm_by="Catch again before the next field." if suspects else "",
        not_claimed=_fill_not_claimed(state, fills),
        about=f"bin {bin}" if bin else "fill",
        low=interval[0],
        high=interval[1],
    )


def _state(z: float, sd: float, worth: float) -> State:
    if z > BELIEVE_Z:
        return "does-not-hold"
    if z > DOUBT_Z:
        return "doubtful"
    return "holds" if sd * SEEN_Z <= worth else "cannot-tell"


def _reach(sd: float, half: float) -> float:
    """Half width of the middle 95 % of a normal error and an overlap that may be anything in its band, both as shares. [-]

    With p the band's part of the variance it is z(p) times the spread of both: 1.96 for a normal error alone, 0.95 of the half band for the
    band alone. The fifth-degree fit in between is within 0.004 of the exact quantile (docs/checking.md).
    """
    spread = math.hypot(sd, half / math.sqrt(3))
    p = (half / math.sqrt(3) / spread) ** 2 if spread > 0 else 0.0
    return (1.96 + p**2 * (0.0122 + p * (-0.7388 + p * (1.0665 - 0.6579 * p)))) * spread


def _fill_suspects(outside: float, bin: str, *, counter: bool) -> tuple[str, ...]:
    """What would move the use that way, commonest first; one fill cannot split them. Against the counter, width and distance cancel."""
    at = f":{bin}" if bin else ""
    area = () if counter else ("distance", "width")
    if outside > 0:
        return (f"factor{at}", *(() if counter else ("overlap",)), *area, f"fill-doubled{at}", f"slip{at}")
    return (f"fill-missed{at}", f"factor{at}", *area, f"slip{at}")


def _fill_name(bin: str, product: str, fills: int) -> tuple[str, bool]:
    """What the sentence is about, and whether it is more than one."""
    if bin:
        return f"Bin {bin}", False
    if product:
        return product[:1].upper() + product[1:], False
    return ("This fill", False) if fills == 1 else (f"These {fills} fills", True)


def _fill_claim(
    state: State,
    used: float,
    band: tuple[float, float],
    size: Est,
    sd: float,
    worth: float,
    name: tuple[str, bool],
    profile: Profile,
    outside: float,
) -> str:
    who, many = name
    expected = f"{shown(max(band[0], 0), 'mass', profile)} to {shown(band[1], 'mass', profile)} was to be expected"
    went = f"{shown(used, 'mass', profile)} went out; {expected}"
    off = f"{rounded(abs(size.value) * 100, 1)} % (± {rounded(sd * 100, 1)})"
    if state == "holds":
        return f"{who} hold{'' if many else 's'}: {went}."
    if state == "cannot-tell":
        hide = max(round(SEEN_Z * sd * 100), round(worth * 100))
        return f"{who} cannot be told yet: {went}. An error of {hide} % could hide in that."
    word = {("does-not-hold", False): "does not hold", ("does-not-hold", True): "do not hold"}.get(
        (state, many), "are doubtful" if many else "is doubtful"
    )
    side = "more" if outside > 0 else "less"
    stop = "" if abs(size.value) >= worth else " Small enough to leave until the next fill."
    return f"{who} {word}: {went}. That is {off} {side} than the area asks for.{stop}"


def _fill_evidence(
    used: float, expected: float, ratio: float, overlap: tuple[float, float], parts: dict[str, float], profile: Profile
) -> tuple[str, ...]:
    names = {"put": "what went in", "level": "the level now", "before": "the level before", "dose": "the dose"}
    shares = ", ".join(f"{names[k]} {rounded(v * 100, 1)} %" for k, v in parts.items() if v > 0)
    lines = [f"used {shown(used, 'mass', profile)}, dose times area {shown(expected, 'mass', profile)}: ratio {ratio:.3f}"]
    if overlap[1] > 0:
        lines.append(f"overlap may take {rounded(overlap[0] * 100, 1)} to {rounded(overlap[1] * 100, 1)} % more")
    if shares:
        lines.append(f"known to (1 sd): {shares}")
    return tuple(lines)


def _fill_settle(parts: dict[str, float], state: State, bin: str, fills: int) -> str:
    """The one reading that takes most of the doubt away."""
    worst = max(parts, key=lambda k: parts[k])
    at, which = (f" of bin {bin}", f"bin {bin}") if bin else ("", "the bin")
    if state != "cannot-tell" and parts[worst] < WORTH_STOPPING / 2:
        return f"catch test{at}: it tells the meter from a fill or the area"
    return {
        "put": "weigh the next load before it goes in",
        "level": f"run {which} down to the low-level light, or weigh what is left, and read the hectares there",
        "before": "start the next check from the low-level light or an empty bin",
        "dose": f"catch test{at}",
    }[worst]


def _fill_not_claimed(state: State, fills: int) -> str:
    if state == "holds":
        return "That every row got its share: a plugged run does not show in the mass."
    if state == "cannot-tell":
        return "That all is well: the level is not known closely enough."
    return "A meter fault from one fill: a load left out looks the same." if fills == 1 else "Which opener got it."


def fill_series(
    fills: Sequence[FillTaken],
    dose_kg_ha: float,
    *,
    level_before_kg: float = 0,
    level_before_sd_kg: float = 0,
    dose_sd: float = 0.02,
    overlap: tuple[float, float] = (0, 0.03),
    worth: float = WORTH_STOPPING,
    bin: str = "",
    product: str = "",
    profile: Profile = "si",
) -> FillSeries:
    """The running total over fills: levels between cancel, so the doubt about them does not add up.

    Parameters
    ----------
    fills : sequence of FillTaken
        In order; the last one needs a level. [see the class]
    dose_kg_ha : float
        Dose, as for `fill_check`. [kg/ha]
    level_before_kg, level_before_sd_kg : float
        In the bin before the first fill, and how well known. [kg]
    dose_sd : float
        Standard deviation of the dose as a share; it is shared by all fills. [-]
    overlap : (float, float)
        Band of ground sown twice. [-]
    worth : float
        Error worth stopping for. [-]
    bin, product, profile : str
        For the sentence. [-]

    Returns
    -------
    FillSeries
        Ratio, its sd, how many more fills until 2 % can be seen. [see the class]

    Raises
    ------
    InputError
        Without a fill, or without a level at the end.

    References
    ----------
    definition: the same mass balance over all fills together.
    """
    if not fills:
        raise InputError("no fill is given", where="fills", cure="Give at least one.")
    if fills[-1].level_kg is None:
        raise InputError("the level at the end is missing", where="fills", cure="Look into the bin, or run it to the low-level light.")
    area, put, variance, together = 0.0, 0.0, 0.0, 0.0
    each: list[tuple[float, float]] = []
    for fill in fills:
        _check_fill(
            fill.area_ha,
            fill.put_kg,
            fill.level_kg or 0.0,
            dose_kg_ha,
            level_before_kg,
            (fill.put_sd_kg, fill.level_sd_kg or 0.0, level_before_sd_kg, dose_sd),
            overlap,
        )
        area, put = area + fill.area_ha, put + fill.put_kg
        own, shared = (0.0, fill.put_sd_kg) if fill.how in VOLUME_HOW else (fill.put_sd_kg, 0.0)
        variance, together = variance + own**2, together + shared
        if fill.level_kg is not None:
            so_far = variance + together**2 + (fill.level_sd_kg or 0.0) ** 2 + level_before_sd_kg**2
            each.append(((level_before_kg + put - fill.level_kg) / (dose_kg_ha * area), math.sqrt(so_far) / (dose_kg_ha * area)))
    last = fills[-1]
    used, expected = level_before_kg + put - (last.level_kg or 0.0), dose_kg_ha * area
    parts = {
        "put": math.hypot(math.sqrt(variance), together) / expected,
        "level": (last.level_sd_kg or 0.0) / expected,
        "before": level_before_sd_kg / expected,
        "dose": dose_sd,
    }
    finding = _fill_finding(used, expected, parts, overlap, worth, bin, product, profile, fills=len(fills))
    sd = math.sqrt(sum(v * v for v in parts.values()))
    return FillSeries(
        ratio=used / expected,
        sd=sd,
        used_kg=used,
        expected_kg=expected,
        more_fills=_more_fills({**parts, "put": math.sqrt(variance) / expected, "density": together / expected}, len(fills), dose_sd),
        finding=finding,
        each=tuple(each),
        odd=_odd_interval(fills, dose_kg_ha, level_before_kg, level_before_sd_kg, used / expected),
    )


def _more_fills(parts: dict[str, float], count: int, dose_sd: float, *, share: float = _FINE_SHARE, most: int = 200) -> int | None:
    """How many more such fills until an error of `share` stands at 2 sd; None if the dose itself is not known well enough."""
    stays = math.hypot(dose_sd, parts.get("density", 0.0))
    if 2 * stays >= share:
        return None
    for more in range(most + 1):
        n = (count + more) / count
        sd = math.sqrt(parts["put"] ** 2 / n + (parts["level"] ** 2 + parts["before"] ** 2) / n**2 + stays**2)
        if 2 * sd <= share:
            return more
    return None


def _odd_interval(fills: Sequence[FillTaken], dose: float, before: float, before_sd: float, ratio: float) -> int | None:
    """The interval that alone differs by about one load while the others agree; None if there is none or it cannot be told."""
    if len(fills) < 3 or any(f.level_kg is None for f in fills):
        return None
    level, level_sd, gaps = before, before_sd, []
    for fill in fills:
        now, now_sd = fill.level_kg or 0.0, fill.level_sd_kg or 0.0
        gap = level + fill.put_kg - now - dose * fill.area_ha
        gaps.append((gap, math.sqrt(level_sd**2 + now_sd**2 + fill.put_sd_kg**2)))
        level, level_sd = now, now_sd
    middle = sorted(g for g, _ in gaps)[len(gaps) // 2]
    stray = [(abs(g - middle) / max(s, 1e-9), i) for i, (g, s) in enumerate(gaps)]
    z, i = max(stray)
    mean_load = sum(f.put_kg for f in fills) / len(fills)
    rest = [v for v, j in stray if j != i]
    if z > BELIEVE_Z and max(rest) < BELIEVE_Z and abs(gaps[i][0] - middle) > 0.3 * mean_load:
        return i + 1
    return None
