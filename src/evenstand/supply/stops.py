"""Where to stop for filling: the cheapest set of stops, proven, with the bins shared out among the products."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from evenstand.base.errors import InfeasibleError, RangeError, require_range
from evenstand.model.place import FloatArray, IntArray
from evenstand.supply.capacities import Choice, Streams, allowed_bins, check_passes, choices

_DUST = 1e-9  # share of a capacity taken for rounding


@dataclass(frozen=True, slots=True, kw_only=True)
class Stops:
    """Stops to fill. s stops, b bins, p products.

    after_pass, latest_pass (s,): numbers of passes, from 1, after which to stop, and after which at the latest if the stops before
    stay as they are [-]. assignment (b,): product of each bin, from 0, -1 for an empty one [-].
    left_kg (s + 1, b): in each bin on arrival at each stop, and at the end [kg]; least_left_kg (b,): the least of them [kg].
    add_kg (s, b): what fills each bin again [kg]. last_fill_kg (b,): what the last fill needs to reach the end with the reserve; it
    need not be full; with no stop it is the first [kg]. full_kg (b,): in full bins [kg].
    rate_share (b,): share of its product's rate that each bin gives, so that bins of one product run low together [-].
    cost: sum of the costs of the stops [unit of stop_cost]; bound: no set of stops costs less [same]; optimal: cost = bound.
    choices_tried: how many ways to share out the bins were compared [-].
    """

    after_pass: tuple[int, ...]
    latest_pass: tuple[int, ...]
    assignment: tuple[int, ...]
    left_kg: FloatArray
    least_left_kg: FloatArray
    add_kg: FloatArray
    last_fill_kg: FloatArray
    full_kg: FloatArray
    rate_share: FloatArray
    cost: float
    bound: float
    optimal: bool
    choices_tried: int


def plan_stops(
    use_kg: npt.ArrayLike,
    bins_m3: npt.ArrayLike,
    density_kg_m3: npt.ArrayLike,
    stop_cost: npt.ArrayLike,
    *,
    streams: Streams = None,
    pinned: Mapping[int, int] | None = None,
    reserve: npt.ArrayLike = 0.0,
    product_names: Sequence[str] | None = None,
    bin_names: Sequence[str] | None = None,
) -> Stops:
    """Share out the bins and choose the passes after which to fill, at least cost.

    The drive starts with full bins; every stop fills every bin, which costs no more than filling some; stops lie at the ends of
    passes. Under these rules the answer is exact: a shortest path over stops for each way to share out the bins.
    Among equally dear answers the one with fewer stops is taken, then the one in which the smallest share left on arrival is
    greatest.

    Parameters
    ----------
    use_kg : array_like (passes, products)
        What each pass takes. [kg]
    bins_m3 : array_like (bins,)
        Usable volume of each bin: brim-full times the share that a fill reaches. [m³]
    density_kg_m3 : array_like (products,)
        Bulk density. [kg/m³]
    stop_cost : float or array_like (passes,) or (passes - 1,)
        Cost of a stop after each pass, 0 <= cost; infinite where there is no way to the truck. [minutes, or any one unit]
    streams : mapping or sequence, or None
        Product -> bins it may be in, because they feed its stream; None, or a product left out: any. [-]
    pinned : mapping of bin to product, or None
        Bins whose product is settled. [-]
    reserve : float or array_like (products,)
        Share of a full bin that must still be there on arrival: for an unsure dose, density, or level, 0 <= reserve < 1. [-]
    product_names, bin_names : sequence of str or None
        For messages. [-]

    Returns
    -------
    Stops
        The plan and how good it is. [kg]

    Raises
    ------
    InfeasibleError
        If a single pass takes more than the bins can carry (product and pass are named), or no way leads through.
    RangeError
        If an argument is outside its range, or shapes do not match.

    References
    ----------
    definition: mass = volume x density, and the shortest path over the passes at which a fill can be made.

    Examples
    --------
    Ten passes of 400 kg and a bin that holds 1,500 kg: at most three passes to a fill, so three stops.

    >>> stops = plan_stops([[400.0]] * 10, [2.0], [750.0], 1.0)
    >>> len(stops.after_pass), stops.latest_pass[0]
    (3, 3)
    """
    use = _matrix(use_kg)
    passes, products = use.shape
    volumes = _vector("bins_m3", bins_m3, None, above_zero=True)
    density = _vector("density_kg_m3", density_kg_m3, products, above_zero=True)
    spare = _vector("reserve", np.broadcast_to(np.asarray(reserve, dtype=float), (products,)), products)
    require_range("reserve", float(spare.max()), 0, 1, high_open=True)
    costs = _costs(stop_cost, passes)
    names = tuple(product_names) if product_names else tuple(f"product {k}" for k in range(products))
    letters = tuple(bin_names) if bin_names else tuple(f"bin {k}" for k in range(len(volumes)))
    if len(letters) != len(volumes):
        raise RangeError(f"{len(letters)} names for {len(volumes)} bins", where="bin_names", cure="Give one name a bin.")
    if len(names) != products:
        raise RangeError(f"{len(names)} names for {products} products", where="product_names", cure="Give one name a product.")
    allowed = _pin(allowed_bins(streams, products, len(volumes), names), pinned, letters, names)
    needed = [bool(use[:, p].any()) for p in range(products)]
    reserved = density * (1 - spare)
    options, held = choices(volumes, allowed, needed, reserved)
    check_passes(use, held, reserved, volumes, allowed, names)
    total = np.vstack([np.zeros(products), np.cumsum(use, axis=0)])
    choice, stops, tried = _best(options, held, total, costs, names)
    return _result(choice, stops, total, volumes, density, spare, costs, tried)


def _best(
    options: Sequence[Choice], held: FloatArray, total: FloatArray, costs: FloatArray, names: Sequence[str]
) -> tuple[Choice, tuple[int, ...], int]:
    """The best choice of bins with its stops; choices whose lower bound is too dear are not worked through."""
    possible = np.flatnonzero((held >= np.diff(total, axis=0).max(axis=0) * (1 - _DUST)).all(axis=1))
    bounds = _lower_bounds(held[possible], total, costs)
    best: tuple[float, int, float] | None = None
    found: tuple[Choice, tuple[int, ...]] | None = None
    tried = 0
    for k in possible[np.argsort(bounds, kind="stable")]:
        bound = float(bounds[np.searchsorted(possible, k)])
        if best is not None and bound > best[0] * (1 + _DUST):
            break
        tried += 1
        reach = _reach(total, held[k])
        rank = _cheapest(reach, costs)
        if rank is None or (best is not None and rank > best[:2]):
            continue
        stops, least = _widest(reach, costs, total, held[k], rank)
        if best is None or (*rank, -least) < best:
            best, found = (*rank, -least), (options[k], stops)
    if found is None:
        raise InfeasibleError(
            "no stop can be made in time",
            where=", ".join(names),
            limit="stop_cost is infinite there",
            cure="Allow stops after more passes.",
        )
    return *found, tried


def _lower_bounds(held: FloatArray, total: FloatArray, costs: FloatArray) -> FloatArray:
    """A cost no set of stops can beat, for each choice: fills needed by mass alone, times the cheapest stop."""
    with np.errstate(divide="ignore", invalid="ignore"):
        fills = np.where(total[-1] > 0, np.ceil(total[-1] / held * (1 - _DUST)), 0.0).max(axis=1)
    cheapest = float(costs[np.isfinite(costs)].min()) if bool(np.isfinite(costs).any()) else 0.0
    return np.asarray(np.maximum(fills - 1, 0.0) * cheapest, dtype=np.float64)


def _reach(total: FloatArray, held: FloatArray) -> IntArray:
    """For each pass end the earliest fill (0: the start) from which the bins last to it, shape (passes + 1,). [-]"""
    used = [p for p in range(total.shape[1]) if total[-1, p] > 0]
    reach = [np.searchsorted(total[:, p], total[:, p] - held[p] * (1 + _DUST), side="left") for p in used]
    return np.asarray(np.max(reach, axis=0) if used else np.zeros(len(total)), dtype=np.int64)


def _cheapest(reach: IntArray, costs: FloatArray) -> tuple[float, int] | None:
    """Cost and number of the cheapest, then fewest, stops: a running least over the window of fills that last. [unit of cost, -]"""
    last = len(reach) - 1
    ranks: list[tuple[float, int]] = [(0.0, 0)]
    window: list[int] = [0]  # fills by rising rank; the front is the best that still lasts
    front = 0
    lows, price = reach.tolist(), costs.tolist()
    for j in range(1, last + 1):
        while front < len(window) and window[front] < lows[j]:
            front += 1
        if front == len(window):
            rank = (math.inf, 0)
        else:
            cost, stops = ranks[window[front]]
            rank = (cost, stops) if j == last else (cost + price[j - 1], stops + 1)
        ranks.append(rank)
        while len(window) > front and rank < ranks[window[-1]]:
            window.pop()
        window.append(j)
    return ranks[last] if ranks[last][0] < math.inf else None


def _widest(
    reach: IntArray, costs: FloatArray, total: FloatArray, held: FloatArray, rank: tuple[float, int]
) -> tuple[tuple[int, ...], float]:
    """Among the stops of that rank those with the greatest least share left, and that share. [-]

    A label a fill: cost, stops, and minus the least share left; of two labels with the same beginning of the drive behind them the
    better stays the better, whatever follows, so the comparison of whole labels is exact.
    """
    last = len(reach) - 1
    used = total[-1] > 0
    shares = total[:, used] / held[used]
    labels: list[tuple[float, int, float]] = [(0.0, 0, -1.0)]
    before = [0]
    for j in range(1, last + 1):
        best, origin = (math.inf, 0, 0.0), 0
        step = 0.0 if j == last else float(costs[j - 1])
        low = int(reach[j])
        left = 1 - (shares[j] - shares[low:j]).max(axis=1) if used.any() else np.ones(j - low)
        for i in range(low, j):
            cost, stops, least = labels[i]
            label = (cost + step, stops + (j < last), max(least, -float(left[i - low])))
            if label < best:
                best, origin = label, i
        labels.append(best)
        before.append(origin)
    # both ways add the same costs; where a sum swallows a tiny cost, they may break the tie differently
    assert math.isclose(labels[last][0], rank[0], rel_tol=1e-9, abs_tol=1e-12)
    backwards: list[int] = []
    here = before[last]
    while here > 0:
        backwards.append(here)
        here = before[here]
    return tuple(backwards[::-1]), -labels[last][2]


def _result(
    choice: Choice,
    stops: tuple[int, ...],
    total: FloatArray,
    volumes: FloatArray,
    density: FloatArray,
    spare: FloatArray,
    costs: FloatArray,
    tried: int,
) -> Stops:
    assigned = np.array(choice)
    filled = assigned >= 0
    full = np.where(filled, volumes * density[assigned], 0.0)
    together = np.array([volumes[assigned == p].sum() if p >= 0 else 1.0 for p in choice])
    share = np.where(filled, volumes / together, 0.0)
    held = np.array([full[assigned == p].sum() * (1 - spare[p]) for p in range(len(density))])
    fills = [0, *stops]
    ends = [*stops, len(total) - 1]
    taken = np.array([total[b] - total[a] for a, b in zip(fills, ends, strict=True)])
    by_bin = np.where(filled, taken[:, assigned] * share, 0.0)
    left = np.maximum(full - by_bin, 0.0)
    reach_ends = [_last_within(total, held, a) for a in fills[:-1]]
    last_need = np.minimum(np.where(filled, by_bin[-1] + spare[assigned] * full, 0.0), full)
    cost = float(sum(costs[j - 1] for j in stops))
    return Stops(
        after_pass=stops,
        latest_pass=tuple(min(j, len(total) - 1) for j in reach_ends),
        assignment=choice,
        left_kg=left,
        least_left_kg=left.min(axis=0),
        add_kg=by_bin[:-1],
        last_fill_kg=np.maximum(last_need - (left[-2] if stops else 0.0), 0.0),
        full_kg=full,
        rate_share=share,
        cost=cost,
        bound=cost,
        optimal=True,
        choices_tried=tried,
    )


def _last_within(total: FloatArray, held: FloatArray, start: int) -> int:
    """The last pass after which bins filled after pass `start` have not run below their reserve. [-]"""
    lasts = (total - total[start] <= held * (1 + _DUST) + 1e-12) | (total[-1] == 0)
    return int(np.flatnonzero(lasts.all(axis=1))[-1])


def _pin(
    allowed: list[tuple[int, ...]], pinned: Mapping[int, int] | None, letters: Sequence[str], names: Sequence[str]
) -> list[tuple[int, ...]]:
    if not pinned:
        return allowed
    bins = len(letters)
    for one, product in pinned.items():
        if not (0 <= one < bins and 0 <= product < len(names)):
            raise RangeError(
                f"bin {one} for product {product}", where="pinned", limit=f"bins 0 to {bins - 1}, products 0 to {len(names) - 1}"
            )
        if one not in allowed[product]:
            raise InfeasibleError(
                f"{letters[one]} is pinned to it but does not feed its stream",
                where=names[product],
                cure="Pin another bin, or change the placement.",
            )
    out = [tuple(b for b in mine if pinned.get(b, product) == product) for product, mine in enumerate(allowed)]
    for name, mine in zip(names, out, strict=True):
        if not mine:
            raise InfeasibleError("no bin is left for it, all are pinned to others", where=name, cure="Pin fewer bins.")
    return out


def _matrix(use_kg: npt.ArrayLike) -> FloatArray:
    use = np.asarray(use_kg, dtype=np.float64)
    if use.ndim == 1:
        use = use[:, None]
    if use.ndim != 2 or not use.size:
        raise RangeError(f"shape {use.shape}", where="use_kg", limit="(passes, products), one or more of each")
    if not bool(np.isfinite(use).all()) or bool((use < 0).any()):
        place = np.argwhere(~(np.isfinite(use) & (use >= 0)))[0]
        raise RangeError(
            f"{use[tuple(place)]:g} kg", where=f"use_kg, pass {place[0] + 1}, product {place[1]}", limit="0 <= use_kg, a number"
        )
    return use


def _vector(name: str, values: npt.ArrayLike, size: int | None, *, above_zero: bool = False) -> FloatArray:
    out = np.asarray(values, dtype=np.float64)
    if out.ndim != 1 or not out.size or (size is not None and len(out) != size):
        raise RangeError(f"shape {out.shape}", where=name, limit=f"({'bins' if size is None else size},)", cure="Give one value for each.")
    for value in out:
        require_range(name, float(value), 0, 1e9, low_open=above_zero)
    return out


def _costs(stop_cost: npt.ArrayLike, passes: int) -> FloatArray:
    given = np.asarray(stop_cost, dtype=np.float64)
    if given.ndim == 0:
        given = np.full(passes, float(given))
    if given.ndim != 1 or len(given) not in (passes, passes - 1):
        raise RangeError(f"shape {given.shape}", where="stop_cost", limit=f"one value, ({passes},) or ({passes - 1},)")
    if bool(np.isnan(given).any()) or bool((given < 0).any()):
        raise RangeError("a cost is negative or no number", where="stop_cost", limit="0 <= stop_cost")
    return given
