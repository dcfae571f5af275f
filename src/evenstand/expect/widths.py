"""The card's lines on the three widths and on what each difference between them does."""

from __future__ import annotations

from evenstand.base.estimate import Est
from evenstand.expect.lines import CardFacts, line, shown
from evenstand.machine import dose_ratio, pass_overlap, three_widths
from evenstand.model import CardLine, Outfit

MOVED = "openers shut, added or moved"


def true_width(outfit: Outfit | None) -> Est | None:
    """The taped width, else openers times spacing as it stands. [m]"""
    if outfit is None:
        return None
    if outfit.widths.true_m is not None:
        return outfit.widths.true_m
    if outfit.rows and outfit.row_spacing_m:
        return Est(value=outfit.rows * outfit.row_spacing_m, sd=0.0, basis="openers x spacing", source="definition")
    return None


def width_lines(f: CardFacts) -> list[CardLine]:
    """True width, what to type for rate and guidance, and the differences that are typed now."""
    outfit = f.outfit
    w = outfit.widths if outfit else None
    true = true_width(outfit)
    rate = true or (Est(value=f.plan.width_m, basis="typed", source="typed") if f.plan.width_m is not None else None)
    guidance = Est(value=w.guidance_m, basis="typed", source="typed") if w and w.guidance_m else rate
    lines = [
        line("width-true", "width", "True width", "width", true, ["tape"], stale=MOVED),
        line(
            "width-rate",
            "width",
            "Width to type for the rate",
            "width",
            rate,
            ["tape"],
            role="set",
            stale=MOVED,
            why="The true width. One opener wrong is one row's share of every kilogram",
        ),
        line(
            "width-guidance",
            "width",
            "Width to type for guidance",
            "width",
            guidance,
            ["guidance-width"],
            role="set",
            why="True width less the overlap you want between passes",
            stale="a new overlap wanted",
        ),
    ]
    return lines + (_differences(f, true.value, w.rate_m, w.guidance_m) if true and w else [])


def _differences(f: CardFacts, true_m: float, rate_m: float | None, guidance_m: float | None) -> list[CardLine]:
    """What the widths typed now do to dose, counter and joints."""
    spacing = f.outfit.row_spacing_m if f.outfit else None
    found = three_widths(true_m=true_m, rate_m=rate_m, guidance_m=guidance_m, area_ha=f.plan.area_ha, row_spacing_m=spacing)
    says = {p.pair: p.does for p in found.pairs}
    lines = []
    if rate_m is not None and found.dose_ratio is not None:
        shows = shown(dose_ratio, typed_width_m=rate_m, true_width_m=true_m)
        lines.append(
            line(
                "width-dose",
                "width",
                f"Dose of what is asked, with {rate_m:.2f} m typed",
                "share",
                found.dose_ratio,
                role="expect",
                shows=shows,
                sd=_spread(f, found.dose_ratio),
                why=says.get("rate-true", ""),
                stale="either width",
            )
        )
    if guidance_m is not None:
        shows = shown(pass_overlap, true_m=true_m, guidance_m=guidance_m)
        twice = found.overlap_m if found.overlap_m is not None else -(found.skip_m or 0.0)
        sd = f.outfit.widths.true_m.sd if f.outfit and f.outfit.widths.true_m else 0.0
        lines.append(
            line(
                "width-joint",
                "width",
                "Sown twice at each joint of passes",
                "spacing",
                twice,
                role="expect",
                sd=sd,
                shows=shows,
                why=says.get("guidance-true", "Below nought: a strip stays unsown"),
                stale="either width",
            )
        )
    if found.counter_ratio is not None and rate_m is not None and guidance_m is not None:
        lines.append(
            line(
                "width-counter",
                "width",
                "Area counter over field",
                "share",
                found.counter_ratio,
                role="expect",
                sd=_spread(f, found.counter_ratio),
                why=says.get("rate-guidance", "Joints only: ends and corners come on top"),
                stale="either width",
            )
        )
    return lines


def _spread(f: CardFacts, ratio: float) -> float:
    """How well a ratio of widths is known: as well as the tape. [-]"""
    true = f.outfit.widths.true_m if f.outfit else None
    return ratio * true.relative_sd if true is not None else 0.0
