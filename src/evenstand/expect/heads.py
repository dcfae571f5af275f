"""The card's lines on heads: product through primaries and runs, and how evenly heads feed their rows."""

from __future__ import annotations

from evenstand.base.estimate import Est
from evenstand.expect.lines import CardFacts, gaps, line, shown
from evenstand.expect.sums import shared_flow
from evenstand.machine import StreamLoad, head_loads, hose_spread
from evenstand.model import CardLine, Outfit


def head_lines(f: CardFacts) -> list[CardLine]:
    """One set a stream whose heads are known; what to write down where none are."""
    outfit = f.outfit
    if outfit is None or not outfit.heads:
        return [line("primary", "head", "Product through each primary", "mass_flow", None, ["heads"])]
    missing = gaps(speed=f.plan.speed_m_s, width=f.plan.width_m)
    if missing or not f.plan.bins:
        return [line("primary", "head", "Product through each primary", "mass_flow", None, missing or ["rate"]), *_hoses(outfit)]
    out: list[CardLine] = []
    for stream in dict.fromkeys(h.stream for h in outfit.heads):
        rate = sum(b.rate_kg_ha * (b.share if b.in_turn else 1.0) for b in f.plan.bins if stream is None or b.stream == stream)
        if rate > 0 and f.plan.speed_m_s is not None:
            caught = {
                h.segment: h.caught_kg for h in outfit.heads if h.stream == stream and h.segment is not None and h.caught_kg is not None
            }
            all_caught = caught if all(h.caught_kg is not None for h in outfit.heads if h.stream == stream) else None
            loads = head_loads(outfit, rate, f.plan.speed_m_s, stream=stream, width_m=f.plan.width_m, segment_gives=all_caught or None)
            out += _stream(f, loads, rate, weighed=bool(all_caught))
    return [*out, *_hoses(outfit)]


def _stream(f: CardFacts, loads: StreamLoad, rate_kg_ha: float, *, weighed: bool) -> list[CardLine]:
    key = loads.stream or "all"
    name = next((s.label or s.key for s in f.outfit.streams if s.key == loads.stream), "all heads") if f.outfit else "all heads"
    flows = [h.solids_kg_s for h in loads.heads]
    mean = sum(flows) / len(flows)  # what each would carry if all were alike
    runs = [h.run_kg_s for h in loads.heads]
    worst = max(loads.heads, key=lambda h: abs(h.row_ratio - 1))
    basis = "heads weighed" if weighed else "computed"
    told = f"Head {worst.letter} gives its rows {worst.row_ratio - 1:+.1%}"
    why = (
        f"{told}. One run shut on a head of {worst.open_runs}: its siblings get {worst.when_one_shut:.0%} more"
        if loads.worst > 1e-9
        else "All rows alike by the run map"
    )
    if not weighed:
        why += ". Segments taken as alike: bag every head once over the same turns"
    return [
        line(
            f"primary:{key}",
            "head",
            f"Through each primary, {name}",
            "mass_flow",
            mean,
            low=min(flows),
            high=max(flows),
            role="know",
            basis=basis,
            shows=shown(shared_flow, rate_kg_ha=rate_kg_ha, speed_m_s=f.plan.speed_m_s, width_m=f.plan.width_m, parts=len(flows)),
            why=f"{rate_kg_ha:.0f} kg/ha over {len(flows)} primaries",
            stale="rate, speed, heads",
        ),
        line(
            f"run:{key}",
            "head",
            f"Through each run, {name}",
            "mass_flow",
            sum(flows) / loads.open_runs,
            low=min(runs),
            high=max(runs),
            basis=basis,
            shows=shown(shared_flow, rate_kg_ha=rate_kg_ha, speed_m_s=f.plan.speed_m_s, width_m=f.plan.width_m, parts=loads.open_runs),
            why=f"{loads.open_runs} runs open",
            stale="runs shut or opened",
        ),
        line(
            f"balance:{key}",
            "head",
            f"Best fed row over worst, {name}",
            "share",
            loads.worst,
            role="limit",
            basis=basis,
            why=why,
            sd=0.0,
            stale="segments, heads or runs changed",
        ),
    ]


def _hoses(outfit: Outfit) -> list[CardLine]:
    spreads = hose_spread(outfit)
    if not spreads:
        return []
    widest = max(spreads, key=lambda s: s.longest_m - s.shortest_m)
    value = Est(value=widest.longest_m - widest.shortest_m, sd=0.0, basis="measured", source="run map")
    ends = ((widest.shortest_m, widest.shortest_run), (widest.longest_m, widest.longest_run))
    why = f"Head {widest.letter}: {', '.join(f'{length:.1f} m to opener {run}' for length, run in ends)}. Replace like for like"
    return [line("hoses", "head", "Longest less shortest hose of a head", "width", value, why=why, stale="a hose replaced")]
