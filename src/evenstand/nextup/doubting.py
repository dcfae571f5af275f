"""Numbers that do not hold, doubts that one reading would settle, and heads worth re-sowing."""

from __future__ import annotations

import math
from collections.abc import Iterator

from evenstand.model import BinPlan, Cost, Finding, Step
from evenstand.nextup.facts import Facts, cost

_RANK = {"does-not-hold": 100.0, "doubtful": 55.0, "cannot-tell": 20.0, "holds": 0.0}


def doubting_steps(facts: Facts) -> Iterator[Step]:
    """One step a finding that does not hold or is in doubt; one that cannot be told only if a reading would settle it."""
    for finding in facts.findings:
        if finding.state == "holds" or (finding.state == "cannot-tell" and (not finding.settle_by or facts.finished)):
            continue
        yield _step(facts, finding)


def _step(facts: Facts, finding: Finding) -> Step:
    causes = finding.suspects[0] if finding.suspects else ()
    price = _cost(facts, finding, causes)
    return Step(
        key=f"doubt:{facts.job.key}:{finding.about or '+'.join(causes) or 'reading'}",
        do=_what(finding, facts_finished=facts.finished),
        because=finding.claim,
        cost_of_waiting=price,
        confirm_by=_sentence(finding.confirm_by or finding.settle_by),
        closes_when="the readings hold again",
        family="doubting",
        rank=_rank(finding, price, finished=facts.finished),
        about=", ".join(causes) or finding.about,
        evidence=finding.evidence,
    )


def _what(finding: Finding, *, facts_finished: bool) -> str:
    """What to do, in one sentence."""
    if finding.state == "does-not-hold" and finding.worth_stopping is False:
        return f"Leave it for now. At the next stop: {_sentence(finding.settle_by or finding.confirm_by)}"
    if finding.state == "does-not-hold":
        if facts_finished:
            return _sentence(finding.confirm_by or finding.settle_by)
        return f"Stop at the next turn. {_sentence(finding.confirm_by or finding.settle_by)}"
    return _sentence(finding.settle_by or finding.confirm_by or "Read once more.")


def _sentence(text: str) -> str:
    """With a capital and a full stop."""
    text = text.strip().rstrip(".")
    return f"{text[:1].upper()}{text[1:]}." if text else ""


def _rank(finding: Finding, price: Cost, *, finished: bool) -> float:
    """State first, then what is at stake, so that twice the cost stands above; on a finished job nothing is at stake any more."""
    stake = price.money if price.money is not None else (price.kg or 0.0)
    base = _RANK[finding.state]
    if finding.worth_stopping is False:
        base = min(base, 25.0)
    if finished:
        base = min(base, 45.0)
    return base + min(19.0, math.sqrt(stake) / 10)


def _cost(facts: Facts, finding: Finding, causes: tuple[str, ...]) -> Cost:
    """Dose error x rate x hectares for the bins the cause touches; hectares alone for runs and heads."""
    kinds = {c.partition(":")[0] for c in causes}
    if kinds & {"run", "head"}:
        ha = finding.place.area_ha
        text = f"{facts.text(ha, 'area')} without product so far." if ha else "Every pass adds a stripe."
        return Cost(ha=ha, text=text)
    if finding.size is None or finding.size_unit != "%":
        return Cost(text="What it costs is not known until it is confirmed.") if finding.state != "holds" else Cost()
    return cost(facts, finding.size.value, _touched(facts, causes))


def _touched(facts: Facts, causes: tuple[str, ...]) -> list[BinPlan]:
    """Bins a cause touches: its own, or all for width and distance."""
    letters = {c.partition(":")[2] for c in causes if ":" in c}
    return [b for b in facts.plan.bins if not letters or b.bin in letters]
