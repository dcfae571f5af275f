"""What is wrong on paper: tickets, fills and what is left that do not agree, over the whole book."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field

from evenstand.base.units import Profile
from evenstand.model import Cost, Finding, Product, Step
from evenstand.nextup.facts import Saying, worth_text

_RANK = {"does-not-hold": 60.0, "doubtful": 40.0}  # below a number that is wrong in the ground, above what is not urgent
_NO_RIVAL = "Correct the entry, or enter what is missing; then the account agrees."


@dataclass(frozen=True, slots=True, kw_only=True)
class PaperFacts:
    """findings: of tickets and fills, those that do not hold or are doubtful; products: by key;
    said: steps of the jobs, so that what one of them asks already is not asked twice; profile: units for the texts."""

    findings: tuple[Finding, ...] = ()
    products: Mapping[str, Product] = field(default_factory=dict)
    said: tuple[Step, ...] = ()
    profile: Profile = "si"


def accounting_steps(facts: PaperFacts) -> Iterator[Step]:
    """One step for each thing wrong on paper that no job's own readings say already."""
    counts = dict[str, int]()
    for finding in facts.findings:
        if finding.state not in _RANK or _said(finding, facts.said):
            continue
        key = next((p.key for p in facts.products.values() if p.name == finding.about), finding.about)
        counts[key] = counts.get(key, 0) + 1
        yield _step(facts, finding, key, counts[key])


def _said(finding: Finding, steps: Iterable[Step]) -> bool:
    """Whether a job's own doubt names the same causes."""
    causes = set(finding.suspects[0]) if finding.suspects else set()
    return bool(causes) and any(s.family == "doubting" and causes <= set(s.about.split(", ")) for s in steps)


def _step(facts: PaperFacts, finding: Finding, key: str, nth: int) -> Step:
    say = Saying(facts.profile)
    return Step(
        key=f"paper:{key}" + (f":{nth}" if nth > 1 else ""),
        do=finding.settle_by,
        because=finding.claim,
        cost_of_waiting=_cost(facts, finding, key, say),
        confirm_by=finding.confirm_by or _NO_RIVAL,
        closes_when="tickets, fills and what is left agree",
        family="accounting",
        rank=_RANK[finding.state],
        about=finding.about,
        evidence=finding.evidence,
        stated=say.stated,
    )


def _cost(facts: PaperFacts, finding: Finding, key: str, say: Saying) -> Cost:
    """The mass that is not where the paper says; until it is settled, what is left and what to order are off by it."""
    if finding.size is None or finding.size_unit != "kg":
        return Cost(text="What is left and what to order cannot be told until it is settled.")
    mass = abs(finding.size.value)
    price = facts.products[key].price_kg if key in facts.products else None
    worth = None if price is None else price * mass
    text = f"What is left and what to order are off by {say(mass, 'mass')}{worth_text(say, worth)}"
    return Cost(kg=mass, money=worth, text=text)
