"""The fan: a speed proven on this outfit, carried to another load, air and product."""

from __future__ import annotations

import math
from dataclasses import dataclass

from evenstand.base.errors import require_range
from evenstand.base.units import rounded, shown
from evenstand.base.worked import worked, working
from evenstand.machine.air_bands import AirBand, published_air_band
from evenstand.model.finding import State
from evenstand.reference import default, figure

DO_THE_TEST = (
    "Cannot tell: no fan speed is proven on this outfit. Do the puff test: product metering at the job's rate, a short burst must come out "
    "of all openers within about 3 s; write that speed down."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Influence:
    """What one input did to the fan speed.

    name: "load", "air density", "split" or "product"; ratio: now over when it was proven [-]; factor: on the fan speed [-];
    slope: per cent of fan speed for one per cent more of this input [-].
    """

    name: str
    ratio: float
    factor: float
    slope: float


@dataclass(frozen=True, slots=True, kw_only=True)
class AirWindow:
    """A fan setting with its limits, and what it rests on.

    state: "holds"; "doubtful": prove it again; "does-not-hold": the speed set lies outside the alarms, or the fan cannot turn so fast;
    "cannot-tell": nothing is proven and every number is None. claim: one sentence. rev_s: the setting; low_rev_s: by the flattest
    published rule; high_rev_s: drag on the product and loading of the air both no worse than at the proven point; alarm_low_rev_s,
    alarm_high_rev_s: limits to type; proven_rev_s: where it starts [rev/s]. load_ratio, density_ratio, split_ratio, lift_ratio: now
    over then, None where one of both is not known; air_mass_ratio: mass of air per second in this stream at the proven speed, now over
    then [-]. mattered: inputs by the size of their effect; working: formula, numbers, result; missing: what would sharpen it; band:
    what is published.
    """

    state: State
    claim: str
    rev_s: float | None
    low_rev_s: float | None
    high_rev_s: float | None
    alarm_low_rev_s: float | None
    alarm_high_rev_s: float | None
    proven_rev_s: float | None
    load_ratio: float | None
    density_ratio: float | None
    split_ratio: float
    lift_ratio: float | None
    air_mass_ratio: float | None
    mattered: tuple[Influence, ...]
    working: tuple[str, ...]
    missing: tuple[str, ...]
    notes: tuple[str, ...]
    band: AirBand | None


@worked(
    formula="proven_rev_s / split_ratio * max(1 / density_ratio, 1 / sqrt(density_ratio))"
    " * load_ratio ** load_exponent * lift_ratio ** lift_exponent",
    source="fan-laws-trade",
    where="flow as the speed; the rest is our scaling from it",
)
def scaled_fan_speed(
    proven_rev_s: float,
    *,
    load_ratio: float = 1.0,
    density_ratio: float = 1.0,
    split_ratio: float = 1.0,
    lift_ratio: float = 1.0,
    load_exponent: float = 0.2,
    lift_exponent: float = 0.4375,
) -> float:
    """Fan speed that serves another load, air, split and product as well as the proven speed served its own.

    A fan on given ducts moves volume as its speed (fan laws). In other air the speed is chosen so that neither the drag on product
    (density times air speed squared) nor the mass of air falls: the larger of the two. Load and product enter by powers: at saltation
    the loading that air carries grows as a power n of its speed, so that at an equal margin speed grows as load to 1 / (n + 1).

    Parameters
    ----------
    proven_rev_s : float
        Fan speed at which every opener blew evenly with product flowing. [rev/s]
    load_ratio : float
        Product per second in this stream, now over then, 0.01 to 100. [-]
    density_ratio : float
        Air density, now over then, 0.3 to 3. [-]
    split_ratio : float
        Share of the fan's air that this stream gets, now over then, 0.1 to 10. [-]
    lift_ratio : float
        Floating speed of the product, now over then, 0.1 to 10. [-]
    load_exponent : float
        0: load does not matter; 1: the loading of the air is kept. Weber has 0.2. [-]
    lift_exponent : float
        0: the product does not matter (Weber); 1: air speed over floating speed is kept. Matsumoto (1974) has 0.4375. [-]

    Returns
    -------
    float
        Fan speed. [rev/s]

    Raises
    ------
    RangeError
        If an argument is outside its range.

    Examples
    --------
    4,300 rpm proven at sea level is 4,738 rpm at 1,000 m, where the standard atmosphere is 1.225 / 1.11166 = 1.102 times thinner.

    >>> round(scaled_fan_speed(4300 / 60, density_ratio=1.11166 / 1.225) * 60)
    4738

    References
    ----------
    Fan laws as quoted in a trade journal on process heating (second-hand). Exponents: Weber and Matsumoto et al. 1974 as in the
    documentation of the open library `fluids`. Range of the scaling, ours: load 0.5 to 1.6, air 0.8 to 1.2 of the proven; no outfit
    was measured.
    """
    require_range("proven_rev_s", proven_rev_s, 0, math.inf, low_open=True, high_open=True, unit="rev/s")
    require_range("load_ratio", load_ratio, 0.01, 100)
    require_range("density_ratio", density_ratio, 0.3, 3)
    require_range("split_ratio", split_ratio, 0.1, 10)
    require_range("lift_ratio", lift_ratio, 0.1, 10)
    require_range("load_exponent", load_exponent, 0, 1)
    require_range("lift_exponent", lift_exponent, 0, 1)
    air = max(1 / density_ratio, 1 / math.sqrt(density_ratio))
    return float(proven_rev_s / split_ratio * air * load_ratio**load_exponent * lift_ratio**lift_exponent)


@worked(
    formula="log(rev_s / proven_rev_s) / log(solids_kg_s / proven_solids_kg_s)", source="definition", where="power law through two points"
)
def own_load_exponent(proven_rev_s: float, proven_solids_kg_s: float, rev_s: float, solids_kg_s: float) -> float:
    """The outfit's own answer to load: the power of fan speed between two loads that were both proven on it, in like air.

    Parameters
    ----------
    proven_rev_s : float
        Fan speed proven at the one load. [rev/s]
    proven_solids_kg_s : float
        That load, product per second in the stream. [kg/s]
    rev_s : float
        Fan speed proven at the other. [rev/s]
    solids_kg_s : float
        The other load. [kg/s]

    Returns
    -------
    float
        Exponent for `air_window(load_exponent=...)`; outside 0 to 1 the two tests contradict each other. [-]

    Raises
    ------
    RangeError
        If an argument is not above 0, or the loads lie within 10 % of each other: too near to tell.

    Examples
    --------
    >>> round(own_load_exponent(4300 / 60, 0.661, 3800 / 60, 0.27), 2)
    0.14
    """
    for name, value in (("proven_rev_s", proven_rev_s), ("proven_solids_kg_s", proven_solids_kg_s), ("rev_s", rev_s)):
        require_range(name, value, 0, math.inf, low_open=True, high_open=True)
    require_range("solids_kg_s", solids_kg_s, 0, math.inf, low_open=True, high_open=True, unit="kg/s")
    if abs(math.log(solids_kg_s / proven_solids_kg_s)) < 0.1:
        require_range("solids_kg_s", solids_kg_s, proven_solids_kg_s * 1.1, unit="kg/s")
    return math.log(rev_s / proven_rev_s) / math.log(solids_kg_s / proven_solids_kg_s)


def air_window(
    proven_rev_s: float | None,
    *,
    proven_solids_kg_s: float | None = None,
    solids_kg_s: float | None = None,
    proven_density_kg_m3: float | None = None,
    density_kg_m3: float | None = None,
    proven_split: float = 1.0,
    split: float = 1.0,
    proven_product: str = "",
    product: str = "",
    proven_lift_m_s: float | None = None,
    lift_m_s: float | None = None,
    load_exponent: float | None = None,
    alarm_below: float | None = None,
    alarm_above: float | None = None,
    set_rev_s: float | None = None,
    max_rev_s: float | None = None,
) -> AirWindow:
    """Fan speed and alarm limits for a job, from the speed proven on this outfit. Without one there is no number.

    Parameters
    ----------
    proven_rev_s : float or None
        Fan speed that passed the puff test with product flowing; None: nothing is proven. [rev/s]
    proven_solids_kg_s, solids_kg_s : float or None
        Product per second in the stream, then and now; of the whole stream or of one line, the same for both. [kg/s]
    proven_density_kg_m3, density_kg_m3 : float or None
        Air density at the fan's inlet, then and now; see `air_density`. [kg/m³]
    proven_split, split : float
        Share of the fan's air that goes to this stream, then and now; leave both where no splitter was moved. [-]
    proven_product, product : str
        Crop or fertilizer that is hardest to carry, then and now; "" if it is the same. [-]
    proven_lift_m_s, lift_m_s : float or None
        Floating speeds of those in like air, where known (of one size, they go as the root of the grain's density); else the published
        ones are compared, if both were read. [m/s]
    load_exponent : float or None
        The outfit's own, from `own_load_exponent`; None: the published one, with a band. [-]
    alarm_below, alarm_above : float or None
        Alarm limits as shares of the setting; None: common practice, 6 and 8 %. [-]
    set_rev_s : float or None
        Speed the fan is set to or turns at; outside the alarms the state is "does-not-hold". [rev/s]
    max_rev_s : float or None
        Fastest speed the fan's maker allows. [rev/s]

    Returns
    -------
    AirWindow
        Setting, limits, what mattered, and what is published besides. [rev/s]

    Raises
    ------
    RangeError
        If an argument is outside its range.

    Examples
    --------
    >>> window = air_window(4300 / 60, proven_solids_kg_s=0.66, solids_kg_s=0.80, proven_density_kg_m3=1.2, density_kg_m3=1.12)
    >>> round(window.rev_s * 60), window.state, window.mattered[0].name
    (4788, 'holds', 'air density')
    >>> air_window(None).state
    'cannot-tell'

    References
    ----------
    See `scaled_fan_speed`. Alarm limits and the range of the scaling: common practice.
    """
    _check(proven_solids_kg_s, solids_kg_s, proven_density_kg_m3, density_kg_m3, proven_lift_m_s, lift_m_s, set_rev_s, max_rev_s)
    require_range("proven_split", proven_split, 0, 1, low_open=True)
    require_range("split", split, 0, 1, low_open=True)
    below = default("fan-alarm-low").value if alarm_below is None else alarm_below
    above = default("fan-alarm-high").value if alarm_above is None else alarm_above
    require_range("alarm_below", below, 0, 1, low_open=True, high_open=True)
    require_range("alarm_above", above, 0, 1, low_open=True)
    band = published_air_band(product or proven_product)
    load = _ratio(solids_kg_s, proven_solids_kg_s)
    air = _ratio(density_kg_m3, proven_density_kg_m3)
    part = split / proven_split
    lift = _lift_ratio(proven_product, product, proven_lift_m_s, lift_m_s)
    missing = _missing(proven_rev_s, proven_solids_kg_s, solids_kg_s, proven_density_kg_m3, density_kg_m3, lift)
    mass = None if air is None else air * part
    if proven_rev_s is None:
        return AirWindow(
            state="cannot-tell", claim=DO_THE_TEST, rev_s=None, low_rev_s=None, high_rev_s=None, alarm_low_rev_s=None,
            alarm_high_rev_s=None, proven_rev_s=None, load_ratio=load, density_ratio=air, split_ratio=part, lift_ratio=lift,
            air_mass_ratio=mass, mattered=(), working=(), missing=missing, notes=(), band=band,
        )  # fmt: skip
    require_range("proven_rev_s", proven_rev_s, 0, math.inf, low_open=True, high_open=True, unit="rev/s")
    speeds, laid_open = _speeds(proven_rev_s, load, air, part, lift, load_exponent)
    low, rev, high = speeds
    outside = _outside(load, air, lift)
    alarms = (rev * (1 - below), rev * (1 + above))
    state, claim = _judged(rev, alarms, load is None or lift is None, outside, set_rev_s, max_rev_s, proven_rev_s)
    return AirWindow(
        state=state, claim=claim, rev_s=rev, low_rev_s=low, high_rev_s=high, alarm_low_rev_s=alarms[0], alarm_high_rev_s=alarms[1],
        proven_rev_s=proven_rev_s, load_ratio=load, density_ratio=air, split_ratio=part, lift_ratio=lift, air_mass_ratio=mass,
        mattered=_mattered(load, air, part, lift, load_exponent), working=laid_open, missing=missing,
        notes=(*outside, *_notes(load, load_exponent)), band=band,
    )  # fmt: skip


def _check(*values: float | None) -> None:
    names = (
        "proven_solids_kg_s", "solids_kg_s", "proven_density_kg_m3", "density_kg_m3", "proven_lift_m_s", "lift_m_s", "set_rev_s",
        "max_rev_s",
    )  # fmt: skip
    for name, value in zip(names, values, strict=True):
        if value is not None:
            require_range(name, value, 0, math.inf, low_open=True, high_open=True)


def _ratio(now: float | None, then: float | None) -> float | None:
    return None if now is None or then is None else now / then


def _lift_ratio(then: str, now: str, then_m_s: float | None, now_m_s: float | None) -> float | None:
    """Floating speed now over then; 1 for the same product, None where two products cannot be compared. [-]"""
    if then_m_s is not None and now_m_s is not None:
        return now_m_s / then_m_s
    if not then and not now:
        return 1.0
    before, after = published_air_band(then), published_air_band(now or then)
    if before.product == after.product:
        return 1.0
    old, new = _middle(before), _middle(after)
    return None if old is None or new is None else new / old


def _middle(band: AirBand) -> float | None:
    """Middle of the floating speeds of a product. [m/s]"""
    low, high = band.critical_low_m_s, band.critical_high_m_s
    return None if low is None or high is None else (low + high) / 2


def _missing(
    proven: float | None, then_kg_s: float | None, now_kg_s: float | None, then_air: float | None, now_air: float | None, lift: float | None
) -> tuple[str, ...]:
    """What is not known, in words that say how to get it."""
    asked = (
        (proven, "a proven fan speed: do the puff test"),
        (then_kg_s, "the load it was proven with: rates, width and speed of that day"),
        (now_kg_s, "the load of this job: rates, width and speed"),
        (then_air, "the air it was proven in: height above sea level and temperature"),
        (now_air, "the air of this job: height above sea level and temperature"),
        (lift, "how both products fly: no floating speed was read for one of them, so prove the fan with this product"),
    )
    return tuple(text for value, text in asked if value is None)


def _exponents(load: float, lift: float, own: float | None) -> tuple[tuple[float, float], tuple[float, float]]:
    """Exponents of load and of product, for the low end and for the setting."""
    read = {name: figure("air", "scaling", name).value for name in ("load-flat", "load", "load-steep", "lift-flat", "lift", "lift-steep")}
    if own is not None:
        require_range("load_exponent", own, 0, 1)
        for_load = (own, own)
    else:
        for_load = (read["load-flat" if load >= 1 else "load-steep"], read["load"])
    return for_load, (read["lift-flat" if lift >= 1 else "lift-steep"], read["lift"])


def _speeds(
    proven: float, load: float | None, air: float | None, part: float, lift: float | None, own: float | None
) -> tuple[tuple[float, float, float], tuple[str, ...]]:
    """Low end, setting and high end, and the working of the setting. What is not known counts as unchanged. [rev/s]"""
    by_load, by_lift = _exponents(load or 1.0, lift or 1.0, own)
    given = {"load_ratio": load or 1.0, "density_ratio": air or 1.0, "split_ratio": part, "lift_ratio": lift or 1.0}
    low, rev = (scaled_fan_speed(proven, **given, load_exponent=m, lift_exponent=n) for m, n in zip(by_load, by_lift, strict=True))
    density = given["density_ratio"]
    low *= min(density, 1 / density) ** 0.5  # the smaller of both rules for air, in place of the larger
    law = given["load_ratio"] ** (1.0 if own is None else own)
    high = scaled_fan_speed(proven, density_ratio=density, split_ratio=part) * max(law, given["lift_ratio"], 1.0 if own is None else law)
    high = max(high, rev)
    laid_open = working(scaled_fan_speed, proven_rev_s=proven, **given, load_exponent=by_load[1], lift_exponent=by_lift[1])
    text = (laid_open.formula, laid_open.substituted, f"{rounded(laid_open.result)} turns/s = {shown(rev, 'fan')}")
    return (low, rev, high), text


def _outside(load: float | None, air: float | None, lift: float | None) -> tuple[str, ...]:
    """Which ratio lies outside the range that the scaling is offered for."""
    told = []
    for name, value, key in (("The load", load, "load"), ("Air density", air, "air"), ("The product's floating speed", lift, "lift")):
        span = figure("air", "scaling_range", key)
        if value is not None and not span.low <= value <= span.high:
            told.append(f"{name} is {value:.2f} of the proven, outside {span.low:g} to {span.high:g}: prove the fan again.")
    return tuple(told)


def _judged(
    rev: float,
    alarms: tuple[float, float],
    unscaled: bool,
    outside: tuple[str, ...],
    set_to: float | None,
    fastest: float | None,
    proven: float,
) -> tuple[State, str]:
    """State and claim. What does not hold comes first, then what is doubtful."""
    limits = f"{shown(alarms[0], 'fan')} to {shown(alarms[1], 'fan')}"
    if fastest is not None and rev > fastest:
        return "does-not-hold", (
            f"The job asks for {shown(rev, 'fan')}, the fan turns {shown(fastest, 'fan')} at most: drive slower or carry less per line."
        )
    if set_to is not None and not alarms[0] <= set_to <= alarms[1]:
        return "does-not-hold", f"The fan at {shown(set_to, 'fan')} lies outside {limits}, the limits around {shown(rev, 'fan')}."
    if outside:
        return "doubtful", f"Too far from the {shown(proven, 'fan')} that were proven to carry them over: prove the fan again for this job."
    if unscaled:
        return "doubtful", f"{shown(rev, 'fan')} rests on {shown(proven, 'fan')} proven; load or product then and now cannot be compared."
    return "holds", f"{shown(rev, 'fan')}, alarms at {limits}."


def _mattered(load: float | None, air: float | None, part: float, lift: float | None, own: float | None) -> tuple[Influence, ...]:
    """What each known input did, the largest effect first."""
    by_load, by_lift = _exponents(load or 1.0, lift or 1.0, own)
    found = []
    if load is not None:
        found.append(Influence(name="load", ratio=load, factor=load ** by_load[1], slope=by_load[1]))
    if air is not None:
        power = -1.0 if air <= 1 else -0.5
        found.append(Influence(name="air density", ratio=air, factor=air**power, slope=power))
    if part != 1:
        found.append(Influence(name="split", ratio=part, factor=1 / part, slope=-1.0))
    if lift is not None and lift != 1:
        found.append(Influence(name="product", ratio=lift, factor=lift ** by_lift[1], slope=by_lift[1]))
    return tuple(sorted(found, key=lambda i: -abs(math.log(i.factor))))


def _notes(load: float | None, own: float | None) -> tuple[str, ...]:
    notes = ["Our scaling from the fan laws and a saltation law; no published test of a seeder stands behind it."]
    if own is not None:
        notes.append("Load by the outfit's own two proven speeds.")
    elif load is not None and abs(load - 1) > 0.01:
        notes.append(
            "How much load asks for is published for other pipes, so the span is wide: a second proven speed at another load narrows it."
        )
    notes += [
        "A lid leak, dirty blades or a plugged head change the air at the same speed. Set it with product flowing and warm oil.",
        "Nobody stands at the openers during a puff test; stop the fan and let pressure fall before a lid or a hose is opened.",
    ]
    return tuple(notes)
