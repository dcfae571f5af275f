"""A check from beginning to end: readings in, findings out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from evenstand.base.units import Profile
from evenstand.check.causes import limit
from evenstand.check.expecting import bins_in, known_readings, relations_for
from evenstand.check.learning import scaled_bin_day, scaled_readings, scaled_relations
from evenstand.check.masses import BinDay
from evenstand.check.verdicts import USUAL_OVERLAP, Verdict, judge
from evenstand.check.wording import Context, findings_from
from evenstand.model import Finding, Outfit, Reading
from evenstand.solve.sequential import evidence_for_look


@dataclass(frozen=True, slots=True, kw_only=True)
class Checked:
    """What a check says: findings, in the order they are read, and the verdict they come from. witnesses, echoes: names of the readings."""

    findings: tuple[Finding, ...]
    verdict: Verdict
    witnesses: tuple[str, ...]
    echoes: tuple[str, ...]


def check_readings(
    readings: Sequence[Reading],
    *,
    outfit: Outfit | None = None,
    asked: Mapping[str, float] | None = None,
    typed: Mapping[str, float] | None = None,
    bin_days: Sequence[BinDay] = (),
    kinds: Mapping[str, str] | None = None,
    overlap: tuple[float, float] | None = None,
    profile: Profile = "si",
    believe: float | None = None,
    scales: Mapping[str, float] | None = None,
    share_done: float | None = None,
) -> Checked:
    """Check readings against one another and say what holds, what does not, and what cannot be told.

    Range: masses, areas and rates above 0; readings that cannot be so are set aside and said.

    Parameters
    ----------
    readings : sequence of Reading
        One for each quantity; a bin stands behind a colon. [metric]
    outfit : Outfit or None
        Rows, row spacing, taped width and usual overlap. [-]
    asked : mapping or None
        Rate asked by bin. [kg/ha]
    typed : mapping or None
        Values in force: "W" [m], "F:A" [kg/turn].
    bin_days : sequence of BinDay
        Looks and fills one by one, where known. [-]
    kinds : mapping or None
        Kind of product by bin: "seed", "fertilizer", "inoculant". [-]
    overlap : (float, float) or None
        Usual band of ground sown twice; None: the outfit's, else a wide one. [share]
    profile : str
        Units of the sentences. [-]
    believe : float or None
        Log-evidence before a cause is named; None: the frozen limit. [-]
    scales : mapping or None
        How much more or less than usual things move, and instruments spread, by kind or instrument: see `learned_scales`. [-]
    share_done : float or None
        Looking again and again through the day: how much of it is done. None: the one look of the day. Early looks ask for more
        evidence, so that the whole day keeps one budget of false alarms. [share]

    Returns
    -------
    Checked
        Findings and verdict. [-]

    References
    ----------
    definition: the relations of docs/checking.md, mass = dose x area and its kin. common-practice: prior odds of the causes.
    """
    typed, asked = typed or {}, asked or {}
    whole: Sequence[Reading] = (*readings, *known_readings(outfit, typed))
    known = scales or {}
    whole, bin_days = scaled_readings(whole, known), tuple(scaled_bin_day(d, known) for d in bin_days)
    relations, every = relations_for(whole, asked=asked, bin_days=bin_days)
    relations = scaled_relations(relations, known)
    need = (limit("believe") if believe is None else believe) + evidence_for_look(share_done, limit("budget"))
    band = overlap or ((outfit.overlap_low, outfit.overlap_high) if outfit is not None else USUAL_OVERLAP)
    verdict = judge(relations, every, bin_days=bin_days, overlap=band, believe=need)
    width = typed.get("W") or next((r.value for r in readings if r.quantity == "typed_width"), None)
    context = Context(
        width_m=width,
        asked=asked,
        kinds=kinds or {},
        usual_put_kg={d.bin: d.usual_put_kg for d in bin_days},
        believe=need,
        rows=outfit.rows if outfit is not None else None,
        profile=profile,
        bins=bins_in(readings, asked),
    )
    return Checked(
        findings=findings_from(verdict, context),
        verdict=verdict,
        witnesses=tuple(r.quantity for r in readings if r.nature == "witness"),
        echoes=tuple(r.quantity for r in readings if r.nature == "echo"),
    )
