"""Numbers that do not hold, doubts that one reading would settle, and heads worth re-sowing."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterator

from evenstand.model import BinPlan, Cost, Finding, Step
from evenstand.nextup.facts import Facts, Saying, cost, priced, worth_text
from evenstand.reference import default

_RANK = {"does-not-hold": 100.0, "doubtful": 55.0, "cannot-tell": 20.0, "holds": 0.0}


def doubting_steps(facts: Facts) -> Iterator[Step]:
    """One step a finding that does not hold or is in doubt; one for all that cannot be told yet, where a reading would tell."""
    untold: list[Finding] = []
    seen: set[str] = set()
    for finding in facts.findings:
        if finding.state == "cannot-tell" and finding.settle_by and not facts.finished:
            untold.append(finding)
        elif finding.state in ("does-not-hold", "doubtful"):
            step = _step(facts, finding)
            if step.key in seen:  # two things wrong at one place are two lines
                step = dataclasses.replace(step, key=f"{step.key}:{'+'.join(finding.suspects[0]) if finding.suspects else len(seen)}")
            seen.add(step.key)
            yield step
    if untold:
        yield _untold(facts, untold)


def _untold(facts: Facts, findings: list[Finding]) -> Step:
    """The reading that settles most of what cannot be told, and the others after it."""
    acts: dict[str, list[Finding]] = {}
    for finding in findings:
        acts.setdefault(finding.settle_by, []).append(finding)
    best = max(acts, key=lambda act: len(acts[act]))
    say, others = Saying(facts.profile), [_sentence(act) for act in acts if act != best]
    about = ", ".join(dict.fromkeys(f.about for f in findings if f.about))
    letters = {c.partition(":")[2] for f in acts[best] for group in f.suspects for c in group if c.startswith("factor:")}
    touched = [b for b in facts.plan.bins if b.bin in letters]
    usual = default("factor-in-a-day").high if touched else None
    return Step(
        key=f"doubt:{facts.job.key}:untold",
        do=_sentence(best),
        because=f"Cannot be told yet: {about}." if about else _sentence(findings[0].claim),
        cost_of_waiting=cost(facts, usual, touched or facts.plan.bins, usual=usual is not None, say=say),
        confirm_by=_sentence(acts[best][0].confirm_by or "Enter it; what it settles goes from this line"),
        closes_when="it can be told, or the job is finished",
        family="doubting",
        rank=_RANK["cannot-tell"],
        about="what cannot be told yet",
        evidence=tuple(f"Then: {text}" for text in others),
        stated=say.stated,
    )


def _step(facts: Facts, finding: Finding) -> Step:
    causes = finding.suspects[0] if finding.suspects else ()
    say = Saying(facts.profile)
    price = _cost(facts, finding, causes, say)
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
        stated=say.stated,
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


def _cost(facts: Facts, finding: Finding, causes: tuple[str, ...], say: Saying) -> Cost:
    """Dose error x rate x hectares for the bins the cause touches; hectares alone for runs and heads."""
    kinds = {c.partition(":")[0] for c in causes}
    if kinds & {"run", "head"}:
        ha = finding.place.area_ha
        text = f"{say(ha, 'area')} without product so far." if ha else "Every pass adds a stripe."
        return Cost(ha=ha, text=text)
    if finding.size is not None and finding.size_unit == "kg":
        return _unaccounted(facts, abs(finding.size.value), _touched(facts, causes), say)
    if finding.size is None or finding.size_unit != "%":
        return Cost(text="What it costs is not known until it is confirmed.") if finding.state != "holds" else Cost()
    return cost(facts, finding.size.value, _touched(facts, causes), say=say)


def _unaccounted(facts: Facts, kg: float, bins: list[BinPlan], say: Saying) -> Cost:
    """A mass that went in and is not on record, or is on record and never went in."""
    products = {b.product for b in bins}
    worth = priced(facts, {next(iter(products)): kg}) if len(products) == 1 else None
    name = f" of {facts.product_name(next(iter(products)))}" if len(products) == 1 else ""
    return Cost(kg=kg, money=worth, text=f"{say(kg, 'mass')}{name} are not accounted for{worth_text(say, worth)}")


def _touched(facts: Facts, causes: tuple[str, ...]) -> list[BinPlan]:
    """Bins a cause touches: its own, or all for width and distance."""
    letters = {c.partition(":")[2] for c in causes if ":" in c}
    return [b for b in facts.plan.bins if not letters or b.bin in letters]
