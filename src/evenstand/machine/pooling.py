"""Several values of one product per turn: which are stale and why, and what the rest say together."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from evenstand.base.errors import require_range
from evenstand.base.estimate import Est
from evenstand.machine.factors import FACTOR_RANK, STANDING_HOW, FactorSource, FactorState, MeterCase, usual_sd
from evenstand.reference import default

ODD = 0.01  # sources this unlikely apart want a reason


@dataclass(frozen=True, slots=True, kw_only=True)
class FactorChange:
    """Something that voids what was known before it: another lot or treatment in the bin, another roller, a leaking lid put right.
    at: ISO time; what: in words."""

    at: str
    what: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RankedFactor:
    """One source in the ranking. source; state: "used", "stale" or "stands by"; why: the reason; weight: its part in the pooled value [-];
    off: how far it lies from the pooled value, in its own standard deviations, None if it is not used [-]."""

    source: FactorSource
    state: FactorState
    why: str
    weight: float = 0.0
    off: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PooledFactor:
    """Product per turn from all sources that still hold.

    kg_turn: pooled value, None if no source holds [kg/turn]; case: what it holds for; ranked: every source, best first; odd: probability
    of sources as far apart as these if all were well, None for one [-]; carried: with no source that holds, the newest stale one of the
    same meter and product, widened by what usually changes from lot to lot: to plan with, not to sow with [kg/turn]; missing: what to do
    next, "" if nothing.
    """

    kg_turn: Est | None
    case: MeterCase
    ranked: tuple[RankedFactor, ...]
    odd: float | None = None
    carried: Est | None = None
    missing: str = ""


def pool_factors(
    sources: Sequence[FactorSource],
    case: MeterCase,
    *,
    changes: Sequence[FactorChange] = (),
    between_cv: float | None = None,
) -> PooledFactor:
    """What several sources say together of one meter, product, lot and setting.

    Sources of another meter or product are left out. Of the rest, one made with another lot or setting is stale, and so is one made
    before a change. Weighed sources (catch, crank, shown mass) are pooled by inverse variance, each variance with a between-source part;
    the bias that all standing catches share is not averaged away. Displacement stands by while anything weighed holds, a typed value
    while anything else does. Times are compared as text, so all must be written alike.

    Parameters
    ----------
    sources : sequence of FactorSource
        In any order. [kg/turn]
    case : MeterCase
        Asked for. An empty product, lot or setting means that of the newest source. [-]
    changes : sequence of FactorChange
        What voids older sources. [-]
    between_cv : float or None
        Standard deviation between sources of the same case, relative; None: the middle of what usually changes in a day. [-]

    Returns
    -------
    PooledFactor
        Value, ranking and what is missing. [kg/turn]

    Raises
    ------
    RangeError
        If `between_cv` is negative, or a product per turn is not above 0.

    References
    ----------
    Definition: mean weighted by inverse variance, a shared error entering once as a covariance. What changes in a day and from lot to lot:
    common-practice, table practice, factor-in-a-day and factor-between-lots.

    Examples
    --------
    >>> a = FactorSource(case=MeterCase(meter="A", lot="1"), kg_turn=Est(value=1.25, sd=0.01), how="catch", at="2026-04-30T07:00")
    >>> b = FactorSource(case=MeterCase(meter="A", lot="2"), kg_turn=Est(value=1.18, sd=0.01), how="catch", at="2026-05-02T07:00")
    >>> p = pool_factors([a, b], MeterCase(meter="A"))
    >>> round(p.kg_turn.value, 2), p.ranked[1].state
    (1.18, 'stale')
    """
    if between_cv is None:
        between_cv = default("factor-in-a-day").value
    require_range("between_cv", between_cv, 0.0, math.inf, high_open=True)
    for s in sources:
        require_range(f"product per turn of {s.case.meter or 'a meter'}", s.kg_turn.value, 0.0, low_open=True, unit="kg/turn")
    asked = _asked(sources, case)
    mine = [s for s in sources if s.case.meter == asked.meter and s.case.product in ("", asked.product)]
    reasons = [_stale(s, asked, mine, changes) for s in mine]
    fresh = [s for s, why in zip(mine, reasons, strict=True) if not why]
    best = min((FACTOR_RANK[s.how] for s in fresh), default=None)
    used = [s for s in fresh if FACTOR_RANK[s.how] == best]
    pooled, weights, odd = _pool(used, between_cv)
    ranked = [
        RankedFactor(
            source=s, state="used", why=_how(s), weight=w,
            off=None if pooled is None or s.kg_turn.sd == 0 else (s.kg_turn.value - pooled.value) / s.kg_turn.sd,
        )
        for s, w in zip(used, weights, strict=True)
    ]  # fmt: skip
    ranked.sort(key=lambda r: (-r.weight, r.source.at))
    ranked += [RankedFactor(source=s, state="stands by", why=_standing_by(s)) for s in fresh if s not in used]
    stale = [(s, why) for s, why in zip(mine, reasons, strict=True) if why]
    stale.sort(key=lambda pair: pair[0].at, reverse=True)
    ranked += [RankedFactor(source=s, state="stale", why=why) for s, why in stale]
    carried = _carried([s for s, _ in stale if asked.setting in ("", s.case.setting)]) if pooled is None else None
    return PooledFactor(
        kg_turn=pooled, case=asked, ranked=tuple(ranked), odd=odd, carried=carried, missing=_missing(asked, best, odd, carried)
    )


def _asked(sources: Sequence[FactorSource], case: MeterCase) -> MeterCase:
    """The case with what it leaves open taken from the newest source that fits."""
    product, lot, setting = case.product, case.lot, case.setting
    for s in sorted((s for s in sources if s.case.meter == case.meter), key=lambda s: s.at, reverse=True):
        if product and s.case.product not in ("", product):
            continue
        product = product or s.case.product
        if lot and s.case.lot not in ("", lot):
            continue
        lot, setting = lot or s.case.lot, setting or s.case.setting
    return MeterCase(meter=case.meter, product=product, lot=lot, setting=setting)


def _stale(s: FactorSource, asked: MeterCase, mine: Sequence[FactorSource], changes: Sequence[FactorChange]) -> str:
    """Why a source no longer holds, "" if it does."""
    if asked.setting and s.case.setting and s.case.setting != asked.setting:
        return f"made with setting {s.case.setting}, asked for {asked.setting}"
    if asked.lot and s.case.lot and s.case.lot != asked.lot:
        return f"made with lot {s.case.lot}; lot {asked.lot} is in the bin"
    if asked.lot and not s.case.lot and s.how != "typed":
        arrived = min((o.at for o in mine if o.case.lot == asked.lot and o.at), default="")
        if s.at and arrived and s.at < arrived:
            return f"its lot is not known, and it is older than the first value of lot {asked.lot}"
    for change in sorted(changes, key=lambda c: c.at, reverse=True):
        if s.at and s.at < change.at:
            return f"made before: {change.what}"
        if not s.at:
            return f"its time is not known, so it may be older than: {change.what}"
    return ""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Block:
    """Sources that share a bias, or one by itself. members: their places; value and variance of their mean, the bias counted once."""

    members: tuple[int, ...]
    value: float
    variance: float


def _pool(used: Sequence[FactorSource], between_cv: float) -> tuple[Est | None, list[float], float | None]:
    """Pooled value, each source's weight, and how odd their spread is. Standing catches are pooled first, by what each has of its own;
    their shared bias is then added once, and they enter as one beside the sources from the field."""
    if not used:
        return None, [], None
    level = math.fsum(s.kg_turn.value for s in used) / len(used)
    least = (1e-9 * level) ** 2
    own = [max(s.kg_turn.sd**2 - s.shared_sd**2 + (between_cv * level) ** 2, least) for s in used]
    blocks = _blocks(used, own)
    total = math.fsum(1 / block.variance for block in blocks)
    mean = math.fsum(block.value / block.variance for block in blocks) / total
    weights = [0.0] * len(used)
    for block in blocks:
        precision = math.fsum(1 / own[i] for i in block.members)
        for i in block.members:
            weights[i] = 1 / block.variance / total / own[i] / precision
    basis = "catch" if any(s.how == "catch" for s in used) else used[0].kg_turn.basis
    source = ", ".join(dict.fromkeys(s.kg_turn.source or s.how for s in used))
    return Est(value=mean, sd=math.sqrt(1 / total), basis=basis, source=source), weights, _odd(used, own, blocks, mean)


def _blocks(used: Sequence[FactorSource], own: Sequence[float]) -> list[_Block]:
    groups: dict[object, list[int]] = {}
    for i, s in enumerate(used):
        shares = s.how in STANDING_HOW and s.shared_sd > 0
        groups.setdefault(round(s.shared_sd / s.kg_turn.value, 9) if shares else ("alone", i), []).append(i)
    found = []
    for members in groups.values():
        precision = math.fsum(1 / own[i] for i in members)
        value = math.fsum(used[i].kg_turn.value / own[i] for i in members) / precision
        bias = value * used[members[0]].shared_sd / used[members[0]].kg_turn.value
        found.append(_Block(members=tuple(members), value=value, variance=1 / precision + bias**2))
    return found


def _odd(used: Sequence[FactorSource], own: Sequence[float], blocks: Sequence[_Block], mean: float) -> float | None:
    """Probability of sources as far apart as these: chi-square within the blocks and between them. [-]"""
    if len(used) < 2:
        return None
    from scipy.special import chdtrc

    within = math.fsum((used[i].kg_turn.value - block.value) ** 2 / own[i] for block in blocks for i in block.members)
    between = math.fsum((block.value - mean) ** 2 / block.variance for block in blocks)
    return float(chdtrc(len(used) - 1, within + between))


def _how(s: FactorSource) -> str:
    words = {
        "catch": "caught standing",
        "crank": "cranked standing",
        "shown-mass": "weighed against the mass shown in the field",
        "displacement": "displacement x density: an estimate, catch before use",
        "typed": "as typed: it says what is in the display, not what the meter gives",
    }
    return words[s.how] if s.how == "typed" else f"{words[s.how]}, known to {s.kg_turn.relative_sd:.1%}"


def _standing_by(s: FactorSource) -> str:
    return "only typed, and something better is known" if s.how == "typed" else "an estimate, and something weighed is known"


def _carried(stale: Sequence[FactorSource]) -> Est | None:
    """The newest stale value, widened by the usual change between lots. [kg/turn]"""
    if not stale:
        return None
    newest = stale[0].kg_turn
    sd = math.hypot(newest.sd, newest.value * usual_sd("factor-between-lots"))
    return Est(value=newest.value, sd=sd, basis="stated", source="carried over from an older value")


def _missing(asked: MeterCase, best: int | None, odd: float | None, carried: Est | None) -> str:
    lot = f" with lot {asked.lot}" if asked.lot else ""
    if best is None:
        after = "the older value is good for planning only" if carried is not None else "nothing is known of this meter yet"
        return f"Make a catch{lot}: {after}."
    if best > 0:
        return f"Make a catch{lot}: no weighed value holds."
    if odd is not None and odd < ODD:
        return "The sources disagree more than they should: make one long catch and find out which is wrong."
    return ""
