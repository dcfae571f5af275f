"""The commissioning record: each item with its band, as delivered and as found, and lines to sign."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from evenstand.base.units import Profile, profile_unit
from evenstand.nextup.commissioning import CAUTIONS, STATE_WORDS, Line, Measured
from evenstand.paper.typesetting import PaperSize, default_paper, typeset


def record_pdf(
    lines: Sequence[Line], *, outfit: str, farm: str, made_at: str, who: str = "", profile: Profile = "si", paper: PaperSize | None = None
) -> bytes:
    """The record as a tagged PDF, to be signed.

    Parameters
    ----------
    lines : sequence of Line
        From `desk.proofs.proof_lines`. [metric]
    outfit, farm, who : str
        Names to print. [-]
    made_at : str
        ISO time to print. [UTC]
    profile : str
        Units. [-]
    paper : str or None
        'a4' or 'us-letter'; None: what the profile prints on. [-]

    Returns
    -------
    bytes
        A tagged PDF. [-]
    """
    data = record_data(lines, outfit=outfit, farm=farm, made_at=made_at, who=who, profile=profile)
    return typeset("commissioning", data, paper=paper or default_paper(profile))[0]


def record_data(lines: Sequence[Line], *, outfit: str, farm: str, made_at: str, who: str, profile: Profile) -> dict[str, Any]:
    """The texts of the record. [text]"""
    made = made_at[:16].replace("T", " ") + " UTC"
    foot = " · ".join(part for part in (farm, f"made {made}", f"by {who}" if who else "") if part)
    return {
        "head": {
            "title": "Commissioning",
            "about": outfit,
            "outfit": "",
            "foot": foot,
            "mark": "",
            "lang": "en",
        },
        "cautions": list(CAUTIONS),
        "parts": [
            {"title": title, "rows": [_row(x, profile) for x in lines if (x.item.moment == "yard") == yard]}
            for title, yard in (("In the yard, before the first hectare", True), ("In the first metres", False))
        ],
    }


def _row(x: Line, profile: Profile) -> dict[str, Any]:
    found = x.latest if x.latest is not None and x.latest is not x.delivered else None
    unit = profile_unit(x.item.quantity, profile) if x.item.quantity else ""
    return {
        "title": x.item.title,
        "how": x.item.how,
        "band": x.item.band(profile),
        "from": x.item.band_from,
        "delivered": _said(x.delivered, x, profile),
        "found": _said(found, x, profile),
        "unit": unit,
        "state": "" if x.state == "open" else STATE_WORDS[x.state],
        "due": x.due or x.item.stale,
        "exception": x.state in ("outside", "due"),
    }


def _said(m: Measured | None, x: Line, profile: Profile) -> dict[str, str] | None:
    if m is None:
        return None
    return {"value": m.said(x.item, profile), "by": ", ".join(part for part in (m.by, m.at[:10], m.note) if part)}
