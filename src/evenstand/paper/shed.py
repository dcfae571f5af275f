"""The shed and truck sheet: what should lie where, what is owed, what to load for the next stops, and lines to write on."""

from __future__ import annotations

from typing import Any

from evenstand.base.units import Profile, profile_unit
from evenstand.desk.loads import Shed
from evenstand.desk.truck import TruckRun
from evenstand.paper.typesetting import PaperSize, default_paper, typeset

PAGE_LINES, LEAST_ROWS = 20, 3
"""What one page holds beside its heads; lines to write on take what is left, but no fewer than these."""
MOST_LINES, MOST_STOPS = 14, 6
"""The rest is counted on the sheet."""
CAUTIONS = (
    "Treated seed: gloves and mask as its label says; what is left stays out of feed and food, in marked bags.",
    "Nobody in a bin or under a raised box while product moves; auger and conveyor stopped before hands go near.",
)


def shed_pdf(
    made: Shed, run: TruckRun | None, *, farm: str, made_at: str, profile: Profile = "si", paper: PaperSize | None = None
) -> bytes:
    """The sheet as a tagged PDF.

    Parameters
    ----------
    made : Shed
        From `desk.loads.shed`. [kg]
    run : TruckRun or None
        What to load for a job. [-]
    farm : str
        Its name. [-]
    made_at : str
        When it was made. [ISO 8601]
    profile : str
        Units. [-]
    paper : str or None
        'a4' or 'us-letter'; None: what the profile prints on. [-]

    Returns
    -------
    bytes
        A tagged PDF. [-]
    """
    data = shed_data(made, run, farm=farm, made_at=made_at, profile=profile)
    return typeset("shed_sheet", data, paper=paper or default_paper(profile))[0]


def shed_data(made: Shed, run: TruckRun | None, *, farm: str, made_at: str, profile: Profile) -> dict[str, Any]:
    """The texts of the sheet. [text]"""
    stock = [[p.name, x.what, x.mass] for p in made.products for x in p.stock if x.span.high_kg >= 1]
    doubts = [f.claim for p in made.products for f in p.findings if f.state in ("does-not-hold", "doubtful")]
    orders = [[o.product, o.ordered, o.came, o.owed, o.wanted_by] for o in made.orders if o.owed_kg != 0]
    stops = [] if run is None else [[str(n), s.when, [list(row) for row in s.loads]] for n, s in enumerate(run.stops[:MOST_STOPS], start=1)]
    used = 2 * len(made.products) + len(stock[:MOST_LINES]) + len(doubts) + len(orders[:MOST_LINES]) + sum(len(s[2]) for s in stops)
    return {
        "head": {
            "title": "Shed and truck",
            "about": run.title if run is not None else "what should lie where",
            "outfit": "",
            "foot": " · ".join(part for part in (farm, f"made {made_at[:10]} {made_at[11:16]} UTC") if part),
            "mark": "",
            "lang": "en",
        },
        "leads": [[p.name, p.lead] for p in made.products],
        "stock": stock[:MOST_LINES],
        "stock_more": _more(len(stock) - MOST_LINES, "more lot"),
        "doubts": doubts,
        "orders": orders[:MOST_LINES],
        "run": {
            "asked": run is not None,
            "stops": stops,
            "note": "" if run is None else run.note,
            "totals": [] if run is None else [list(t) for t in run.totals],
            "more": "" if run is None else _more(len(run.stops) - MOST_STOPS, "more stop"),
        },
        "mass_unit": profile_unit("mass", profile),
        "write_rows": max(LEAST_ROWS, PAGE_LINES - used),
        "cautions": list(CAUTIONS),
    }


def _more(count: int, what: str) -> str:
    return "" if count <= 0 else f"and {count} {what}{'' if count == 1 else 's'}: see the site"
