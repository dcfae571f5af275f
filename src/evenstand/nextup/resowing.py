"""Heads that stood still long enough to be sown again. A single run never is: its neighbours fill in."""

from __future__ import annotations

from collections.abc import Iterator

from evenstand.model import BinPlan, Cost, Finding, Step
from evenstand.nextup.facts import Facts, Saying, priced, worth_text


def resowing_steps(facts: Facts) -> Iterator[Step]:
    """One step a dead head, with the hectares it missed and what would have gone there."""
    for finding in facts.findings:
        heads = [c for c in (finding.suspects[0] if finding.suspects else ()) if c.startswith("head:")]
        if finding.state == "does-not-hold" and heads and finding.place.area_ha:
            yield _step(facts, finding, heads[0].partition(":")[2], finding.place.area_ha)


def _bins_of(facts: Facts, letter: str) -> list[BinPlan]:
    """Bins whose stream the head is on; all where the outfit does not say."""
    outfit = facts.outfit
    head = next((h for h in outfit.heads if h.letter == letter), None) if outfit is not None else None
    if head is None or head.stream is None:
        return list(facts.plan.bins)
    return [b for b in facts.plan.bins if b.stream in (None, head.stream)]


def _step(facts: Facts, finding: Finding, letter: str, ha: float) -> Step:
    say = Saying(facts.profile)
    masses: dict[str, float] = {}
    for b in _bins_of(facts, letter):
        masses[b.product] = masses.get(b.product, 0.0) + b.rate_kg_ha * ha
    what = ", ".join(f"{say(kg, 'mass')} {facts.product_name(p)}" for p, kg in masses.items())
    worth = priced(facts, masses)
    text = f"{say(ha, 'area')} stay bare" + (f"; {what} belong there" if what else "")
    text += worth_text(say, worth) if what else "."
    since = "" if finding.place.since_s is None else f":{finding.place.since_s:.0f}"
    return Step(
        key=f"resow:{facts.job.key}:{letter}{since}",
        do=f"Once head {letter} is clear, sow its strip again: {say(ha, 'area')}.",
        because=f"Head {letter} gave nothing to {say.count(len(finding.place.runs))} runs side by side; no neighbour fills that in."
        if finding.place.runs
        else f"Head {letter} gave nothing; no neighbour fills a head's width in.",
        cost_of_waiting=Cost(kg=sum(masses.values()) or None, ha=ha, money=worth, text=text),
        confirm_by="Dig in the strip first, then say that it is sown.",
        closes_when="somebody says that the strip is sown, or the head is found to have run",
        family="resowing",
        rank=58.0,
        about=f"head {letter}",
        evidence=finding.evidence,
        by_word=True,
        stated=say.stated,
    )
