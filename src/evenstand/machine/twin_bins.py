"""Several bins that carry one product: metered together or one after the other."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from evenstand.base.errors import Fault, MissingError, RangeError, require_range
from evenstand.machine.metering import meter_rate, meter_speed
from evenstand.machine.windows import shared_speed_window

BinMode = Literal["together", "in-turn"]


@dataclass(frozen=True, slots=True, kw_only=True)
class ProductBin:
    """One bin of a product. letter; factor_kg_rev: product per turn [kg/rev]; content_kg: what is in it [kg]; min_rev_s, max_rev_s:
    steady meter speeds, None if not known [rev/s]; share: of the rate while metered together, None for an even split [-]; low_kg: content
    at which it counts as low, such as at its low-level light [kg]."""

    letter: str
    factor_kg_rev: float
    content_kg: float
    min_rev_s: float | None = None
    max_rev_s: float | None = None
    share: float | None = None
    low_kg: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class BinTurn:
    """What one of the bins does. rate_kg_ha: its part of the rate while it is on [kg/ha]; rev_s: its meter [rev/s]; speed_m_s: slowest
    and fastest ground speed that suit it, None while its steady range is not known [m/s]; lasts_ha: area its content does at that
    part [ha]; from_ha, to_ha: hectares on the job between which it is on [ha]; alone_rev_s: its meter if it has to carry the whole
    rate [rev/s]; alone_speed_m_s: ground speeds that suit it then [m/s]; left_kg: what is in it when the first bin is empty [kg]; low_ha:
    hectares on the job at which it counts as low [ha]."""

    letter: str
    rate_kg_ha: float
    rev_s: float
    speed_m_s: tuple[float, float] | None
    lasts_ha: float
    from_ha: float
    to_ha: float
    alone_rev_s: float
    alone_speed_m_s: tuple[float, float] | None
    left_kg: float
    low_ha: float


@dataclass(frozen=True, slots=True, kw_only=True)
class BinsTogether:
    """Several bins on one product.

    mode; bins: in the order given; area_ha: until all are empty [ha]; first_empty: letter of the bin that is empty first, first_empty_ha:
    where [ha]; first_low, first_low_ha: the same for the first that counts as low; speed_m_s: ground speeds that suit every bin while it
    is on, None if not known or none does [m/s]; slow_bin, fast_bin: bins that set these; smallest_kg_ha, largest_kg_ha: rates possible at
    the ground speed given, None while a steady range is not known [kg/ha]; warnings: in words.
    """

    mode: BinMode
    bins: tuple[BinTurn, ...]
    area_ha: float
    first_empty: str
    first_empty_ha: float
    first_low: str
    first_low_ha: float
    speed_m_s: tuple[float, float] | None
    slow_bin: str
    fast_bin: str
    smallest_kg_ha: float | None
    largest_kg_ha: float | None
    warnings: tuple[str, ...] = ()


def bins_together(
    bins: Sequence[ProductBin],
    rate_kg_ha: float,
    speed_m_s: float,
    width_m: float,
    *,
    mode: BinMode = "together",
    line_limit_kg_s: float | None = None,
) -> BinsTogether:
    """Two bins or more on one product, metered together or in turn.

    Together, each gives its share of the rate: the ceiling rises, and so does the floor. When the first is empty the rest carry on
    alone in proportion to their shares, each turning faster. In turn, each carries the whole rate in the order given.

    Parameters
    ----------
    bins : sequence of ProductBin
        In the order in which they are emptied. [units in the field names]
    rate_kg_ha : float
        Rate of the product. [kg/ha]
    speed_m_s : float
        Ground speed. [m/s]
    width_m : float
        Width they feed. [m]
    mode : str
        "together" or "in-turn". [-]
    line_limit_kg_s : float or None
        Most product that the air line they share carries. [kg/s]

    Returns
    -------
    BinsTogether
        Meter speeds, windows, and where each runs out. [units in the field names]

    Raises
    ------
    MissingError
        If there is no bin.
    RangeError
        If a value is not above 0, a letter stands twice, or the shares do not add up to 1.

    Examples
    --------
    3,000 and 2,000 kg at 100 kg/ha, half from each: the second is empty after 40 ha, the first then carries all and lasts to 50 ha.

    >>> two = [ProductBin(letter="A", factor_kg_rev=1.25, content_kg=3000), ProductBin(letter="B", factor_kg_rev=1.25, content_kg=2000)]
    >>> t = bins_together(two, 100, 2.0, 16)
    >>> t.first_empty, round(t.first_empty_ha), round(t.area_ha)
    ('B', 40, 50)
    """
    require_range("rate_kg_ha", rate_kg_ha, 0.0, math.inf, low_open=True, high_open=True, unit="kg/ha")
    require_range("speed_m_s", speed_m_s, 0.0, math.inf, low_open=True, high_open=True, unit="m/s")
    require_range("width_m", width_m, 0.0, math.inf, low_open=True, high_open=True, unit="m")
    shares = _shares(bins) if mode == "together" else tuple(1.0 for _ in bins)
    if mode not in ("together", "in-turn"):
        raise RangeError(f"'{mode}'", where="mode", limit="together, in-turn", cure="Choose one.")
    if not bins:
        raise MissingError("no bin given", where="bins", cure="Give at least one.")
    if line_limit_kg_s is not None:
        require_range("line_limit_kg_s", line_limit_kg_s, 0.0, math.inf, low_open=True, high_open=True, unit="kg/s")
    _check(bins)
    spans = _together(bins, shares, rate_kg_ha) if mode == "together" else _in_turn(bins, rate_kg_ha)
    first = min(range(len(bins)), key=lambda i: spans[i][1])
    low = min(range(len(bins)), key=lambda i: spans[i][2])
    at = spans[first][1]
    turns = tuple(
        _turn(b, s, span, rate_kg_ha, speed_m_s, width_m, left)
        for b, s, span, left in zip(bins, shares, spans, _left(bins, shares, spans, rate_kg_ha, at, mode), strict=True)
    )
    known = {t.letter: t.speed_m_s for t in turns if t.speed_m_s is not None}
    window, slow, fast = shared_speed_window(known) if len(known) == len(turns) else (None, "", "")
    warnings = _warnings(turns, window, len(known) == len(turns), speed_m_s, mode)
    least, most = _rates(bins, shares, speed_m_s, width_m, mode)
    if line_limit_kg_s is not None:
        ceiling = line_limit_kg_s * 1e4 / (speed_m_s * width_m)
        most = ceiling if most is None else min(most, ceiling)
        if rate_kg_ha > ceiling:
            warnings = (*warnings, "The air line they share cannot carry this rate at this speed: drive slower.")
    return BinsTogether(
        mode=mode, bins=turns, area_ha=max(t.to_ha for t in turns), first_empty=bins[first].letter, first_empty_ha=at,
        first_low=bins[low].letter, first_low_ha=spans[low][2],
        speed_m_s=window, slow_bin=slow, fast_bin=fast, smallest_kg_ha=least, largest_kg_ha=most, warnings=warnings,
    )  # fmt: skip


def _shares(bins: Sequence[ProductBin]) -> tuple[float, ...]:
    given = [b.share for b in bins]
    if all(s is None for s in given):
        return tuple(1 / len(bins) for _ in bins)
    shares = tuple(s for s in given if s is not None)
    if len(shares) != len(bins) or abs(math.fsum(shares) - 1) > 1e-6 or min(shares) <= 0:
        raise RangeError(f"shares {given}", where="share", limit="each above 0, together 1", cure="Give all of them, or none.")
    return shares


def _check(bins: Sequence[ProductBin]) -> None:
    faults = []
    for b in bins:
        where = f"bin {b.letter}"
        if not (b.factor_kg_rev > 0 and math.isfinite(b.factor_kg_rev)):
            faults.append(Fault(where=where, what=f"{b.factor_kg_rev:g} kg/turn", limit="above 0", cure="Catch it."))
        if not (b.low_kg >= 0 and math.isfinite(b.low_kg)):
            faults.append(Fault(where=where, what=f"low at {b.low_kg:g} kg", limit="0 or more", cure="Correct it."))
        if not (b.content_kg >= 0 and math.isfinite(b.content_kg)):
            faults.append(Fault(where=where, what=f"{b.content_kg:g} kg in it", limit="0 or more", cure="Correct it."))
        if b.min_rev_s is not None and b.max_rev_s is not None and not 0 <= b.min_rev_s < b.max_rev_s:
            faults.append(
                Fault(
                    where=where, what=f"steady from {b.min_rev_s:g} to {b.max_rev_s:g} rev/s", limit="0 <= low < high", cure="Correct it."
                )
            )
    letters = [b.letter for b in bins]
    if len(set(letters)) != len(letters):
        faults.append(Fault(where="bins", what=f"letters {', '.join(letters)}", limit="each once", cure="Name each bin."))
    if faults:
        raise RangeError(faults)


Spans = list[tuple[float, float, float]]


def _together(bins: Sequence[ProductBin], shares: Sequence[float], rate_kg_ha: float) -> Spans:
    """From, to and low of each bin: as one empties, the others take over its part in proportion. [ha]"""
    left = {i: b.content_kg for i, b in enumerate(bins)}
    low = {i: 0.0 for i, b in enumerate(bins) if b.content_kg <= b.low_kg}
    ends = {i: 0.0 for i in left if left[i] == 0}
    done = 0.0
    live = set(left) - set(ends)
    while live:
        total = math.fsum(shares[i] for i in live)
        part = {i: rate_kg_ha * shares[i] / total for i in live}
        step = min(left[i] / part[i] for i in live)
        for i in live:
            if i not in low and left[i] - part[i] * step <= bins[i].low_kg:
                low[i] = done + (left[i] - bins[i].low_kg) / part[i]
        done += step
        for i in list(live):
            left[i] -= part[i] * step
            if left[i] <= 1e-9 * bins[i].content_kg:
                ends[i] = done
                live.remove(i)
    return [(0.0, ends[i], low.get(i, ends[i])) for i in range(len(bins))]


def _in_turn(bins: Sequence[ProductBin], rate_kg_ha: float) -> Spans:
    spans: Spans = []
    done = 0.0
    for b in bins:
        end = done + b.content_kg / rate_kg_ha
        spans.append((done, end, done + max(b.content_kg - b.low_kg, 0.0) / rate_kg_ha))
        done = end
    return spans


def _left(
    bins: Sequence[ProductBin],
    shares: Sequence[float],
    spans: Spans,
    rate_kg_ha: float,
    at_ha: float,
    mode: BinMode,
) -> list[float]:
    """What is in each bin when the first one is empty. [kg]"""
    if mode == "together":
        return [max(b.content_kg - rate_kg_ha * s * at_ha, 0.0) for b, s in zip(bins, shares, strict=True)]
    return [
        b.content_kg if begin >= at_ha else max(b.content_kg - rate_kg_ha * (at_ha - begin), 0.0)
        for b, (begin, _, _) in zip(bins, spans, strict=True)
    ]


def _turn(
    b: ProductBin, share: float, span: tuple[float, float, float], rate_kg_ha: float, speed_m_s: float, width_m: float, left_kg: float
) -> BinTurn:
    part = rate_kg_ha * share
    return BinTurn(
        letter=b.letter,
        rate_kg_ha=part,
        rev_s=meter_speed(part, speed_m_s, width_m, b.factor_kg_rev),
        speed_m_s=_speeds(b, part, width_m),
        lasts_ha=b.content_kg / part,
        from_ha=span[0],
        to_ha=span[1],
        alone_rev_s=meter_speed(rate_kg_ha, speed_m_s, width_m, b.factor_kg_rev),
        alone_speed_m_s=_speeds(b, rate_kg_ha, width_m),
        left_kg=left_kg,
        low_ha=span[2],
    )


def _speeds(b: ProductBin, part_kg_ha: float, width_m: float) -> tuple[float, float] | None:
    if b.min_rev_s is None or b.max_rev_s is None:
        return None
    return meter_rate(b.min_rev_s, part_kg_ha, width_m, b.factor_kg_rev), meter_rate(b.max_rev_s, part_kg_ha, width_m, b.factor_kg_rev)


def _rates(
    bins: Sequence[ProductBin], shares: Sequence[float], speed_m_s: float, width_m: float, mode: BinMode
) -> tuple[float | None, float | None]:
    """Smallest and largest rate of the product at a ground speed: the narrowest bin, over its share. [kg/ha]"""
    least, most = [], []
    for b, s in zip(bins, shares, strict=True):
        if b.min_rev_s is None or b.max_rev_s is None:
            return None, None
        least.append(meter_rate(b.min_rev_s, speed_m_s, width_m, b.factor_kg_rev) / s)
        most.append(meter_rate(b.max_rev_s, speed_m_s, width_m, b.factor_kg_rev) / s)
    return max(least), min(most)


def _warnings(
    turns: Sequence[BinTurn], window: tuple[float, float] | None, known: bool, speed_m_s: float, mode: BinMode
) -> tuple[str, ...]:
    found = []
    if not known:
        found.append("Not every meter's steady range is known: type its slowest and fastest speed to get the speed window.")
    elif window is None:
        found.append("No ground speed suits all bins: change a share, a roller or a gear.")
    for t in turns:
        if t.lasts_ha == 0 and len(turns) > 1:
            rest = "the rest carry its part from the start" if mode == "together" else "it has no turn"
            found.append(f"Bin {t.letter} is empty: {rest}.")
        if t.speed_m_s is not None and not t.speed_m_s[0] <= speed_m_s <= t.speed_m_s[1]:
            found.append(f"Bin {t.letter} is outside its steady range at this speed.")
        if mode == "together" and len(turns) > 1 and t.alone_speed_m_s is not None and speed_m_s > t.alone_speed_m_s[1]:
            found.append(f"When the other is empty, bin {t.letter} cannot carry the whole rate at this speed.")
    return tuple(found)
