"""A counted stand for a job: what the job already tells, and the answer as lines, rows and one sentence."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from evenstand import agronomy
from evenstand.base.units import Profile, read_quantity, rounded, shown, shown_value
from evenstand.base.worked import Working
from evenstand.desk.planning import job_inputs
from evenstand.desk.stands import StandAnswer, StandSaid, seeds_sown, stand_sentence, typed_share
from evenstand.expect import plan_for
from evenstand.expect.lines import SURE_95, line
from evenstand.expect.lines import shown as laid_open
from evenstand.reference import source, sources, table

if TYPE_CHECKING:
    from evenstand.book import Book
    from evenstand.model import CardLine, Plan
    from evenstand.model.finding import State

VERDICTS = {
    "keep": "Keep it",
    "weigh": "Weigh it",
    "reseed": "Sow again",
    "cannot-tell": "Cannot be told yet",
    "not-published": "Prints nothing for such a stand",
}
FACTORS = {"wing": "Wing", "rank": "Rank", "track": "Wheel tracks"}


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownFact:
    """One thing the job tells by itself. name: as in `StandSaid.given`; text: as it would be typed, metric; told: what and from where."""

    name: str
    text: str
    told: str


def job_facts(book: Book, job: str, units: Profile = "si") -> tuple[KnownFact, ...]:
    """What a job, its lot, its outfit and its plan tell about the stand to expect.

    Parameters
    ----------
    book : Book
        Open for reading. [-]
    job : str
        Its key. [-]
    units : str
        Of `told`. [-]

    Returns
    -------
    tuple of KnownFact
        What is not known is left out. [-]

    Raises
    ------
    MissingError
        If there is no such job.
    """
    inputs = job_inputs(book, job)
    plan = plan_for(inputs)
    seed = next((a for a in inputs.job.asks if a.product not in inputs.products or inputs.products[a.product].kind == "seed"), None)
    out: list[KnownFact] = []

    def tell(name: str, what: str, value: float | None, quantity: str, unit: str, whence: str, sd: float | None = None) -> None:
        if value is not None:
            spread = f" ± {sd!r} {unit}" if sd else ""
            out.append(KnownFact(name=name, text=f"{value!r} {unit}{spread}", told=f"{what} {shown(value, quantity, units)}, {whence}"))

    out.append(KnownFact(name="crop", text=inputs.job.crop, told=f"Crop: {inputs.job.crop}"))
    tell("spacing", "Row spacing", inputs.outfit.row_spacing_m if inputs.outfit else None, "spacing", "m", "of the outfit")
    if seed is not None:
        known = [b.factor_kg_turn.relative_sd for b in plan.bins if b.product == seed.product and b.factor_kg_turn is not None]
        tell("rate", "Rate", seed.rate_kg_ha, "rate", "kg/ha", "as the job asks", max(known) * seed.rate_kg_ha if known else None)
        lot = inputs.lots.get(seed.product)
        if lot is not None and lot.tkw_g is not None:
            tell("tkw", "A thousand kernels", lot.tkw_g.value, "kernel", "g/1000", f"lot {lot.label or lot.key}", lot.tkw_g.sd)
    alive, sd = inputs.job.survival, inputs.job.survival_sd
    if alive is not None:
        out.append(
            KnownFact(
                name="survival", text=f"{100 * alive!r} %" + (f" ± {100 * sd!r} %" if sd else ""),
                told=f"Survival {shown(alive, 'share', units)}, as the job has it",
            )
        )  # fmt: skip
    tell("wanted", "Stand wanted", inputs.job.target_plants_m2, "stand", "plants/m²", "as the job has it")
    if inputs.job.moisture:
        out.append(
            KnownFact(name="moisture", text=inputs.job.moisture, told=f"Seedbed {inputs.job.moisture} for moisture, as the job has it")
        )
    return (*out, *_row_facts(plan, units))


def _row_facts(plan: Plan, units: Profile) -> list[KnownFact]:
    """The nutrient of the seed row that stands nearest its limit; nothing where none is published, nought where none goes there."""
    beside = [x for x in plan.row_limits if x.placement in {"", "seed-row"} and x.asked_kg_ha > 0]
    if not beside and plan.bins:
        return [KnownFact(name="row_fertilizer", text="0 kg/ha", told="No fertilizer in the seed row, by the plan")]
    judged = [x for x in beside if x.limit_kg_ha]
    if not judged:
        return []
    worst = max(judged, key=lambda x: x.asked_kg_ha / (x.limit_kg_ha or 1.0))
    asked, limit = shown(worst.asked_kg_ha, "rate", units), shown(worst.limit_kg_ha, "rate", units)
    return [
        KnownFact(
            name="row_fertilizer", text=f"{worst.asked_kg_ha!r} kg/ha", told=f"{worst.nutrient} in the seed row {asked}, by the plan"
        ),
        KnownFact(name="row_limit", text=f"{worst.limit_kg_ha!r} kg/ha", told=f"Its limit {limit}, by the job's guideline"),
    ]


def answer_sentence(answer: StandAnswer, units: Profile, confidence: float) -> tuple[str, State | None]:
    """The whole in one breath, and how it stands against what was expected.

    Parameters
    ----------
    answer : StandAnswer
        As answered. [-]
    units : str
        The reader's. [-]
    confidence : float
        Of the interval. [-]

    Returns
    -------
    tuple of (str, state or None)
        None where nothing was expected. [text]
    """
    text = stand_sentence(answer, units, confidence).rstrip(".")
    if answer.thin is None or answer.expected is None:
        return f"{text}.", None
    expected = shown(answer.expected.stand.value, "stand", units)
    return f"{text}; {expected} expected. {answer.thin.claim}", "does-not-hold" if answer.thin.p_thin >= SURE_THIN else answer.thin.state


SURE_THIN = 0.95  # as the command's exit code


def number_lines(answer: StandAnswer, said: StandSaid, units: Profile) -> tuple[CardLine, ...]:
    """Stand, counts still needed, expected, achieved and missing, each with its working. [metric]"""
    stand, confidence = answer.stand, typed_share(said.given, "confidence", 0.95)
    places = f"{stand.n} place{'s' if stand.n > 1 else ''}"
    out = [
        line(
            "counted", "stand", "Stand counted", "stand", stand.plants_m2, low=stand.low, high=stand.high, sd=stand.sd,
            why=f"{places}, {confidence:.0%} interval. {stand.note}".rstrip(), shows=_stand_working(answer, said, units),
            more=[f"Interval: {stand.method}, from how far the counts lie apart.", *_unevenness(stand)],
        ),
        line(
            "still", "stand", "Places still to count", "count", float(answer.counts_still_needed),
            why=f"To know it within {typed_share(said.given, 'precision', 0.1):.0%}, at the unevenness of these counts",
        ),
    ]  # fmt: skip
    plan = answer.expected
    if plan is not None:
        shows = laid_open(agronomy.expected_stand, rate_kg_ha=plan.rate_kg_ha, tkw_g=plan.tkw_g, survival=plan.survival)
        why = f"From rate, lot and survival{f'; hangs most on {plan.most}' if plan.most else ''}"
        out.append(line("expected", "stand", "Stand expected", "stand", plan.stand, why=why, shows=shows))
    got = answer.achieved
    if got is not None:
        low, high = (max(0.0, x) for x in got.survival.interval(SURE_95))
        seeds = seeds_sown(said, units)
        sown = seeds.value if seeds is not None else 0.0
        shows = _quotient("survival achieved", "plants counted / seeds sown", got.survival.value * sown, sown)
        why = f"Of the seeds sown. {got.note}".strip()
        out.append(
            line(
                "achieved",
                "stand",
                "Survival achieved",
                "share",
                got.survival.value,
                low=low,
                high=high,
                sd=got.survival.sd,
                why=why,
                shows=shows,
            )
        )
    if answer.thin is not None and plan is not None:
        missing = answer.thin.missing
        shows = _quotient("missing", "1 - counted / expected", plan.stand.value * (1 - missing.value), plan.stand.value, one_less=True)
        why = f"Chance that the field is thinner than expected: {answer.thin.p_thin:.0%}"
        out.append(line("missing", "stand", "Plants missing", "share", missing, why=why, shows=shows))
    return tuple(out)


def _unevenness(stand: agronomy.Stand) -> list[str]:
    return [f"Coefficient of variation of the counts: {stand.cv:.0%}."] if stand.n > 1 and math.isfinite(stand.cv) else []


def _quotient(name: str, formula: str, a: float, b: float, *, one_less: bool = False) -> Working | None:
    if not b:
        return None
    text = f"{rounded(a)} / {rounded(b)}"
    return Working(
        name=name, formula=formula, inputs=(("a", a), ("b", b)), substituted=f"1 - {text}" if one_less else text,
        result=1 - a / b if one_less else a / b, source="definition", where="",
    )  # fmt: skip


def _stand_working(answer: StandAnswer, said: StandSaid, units: Profile) -> Working | None:
    """Plants over ground, with the numbers typed."""
    given = said.given
    rows = float(given.get("rows") or 1)
    spacing = read_quantity(given["spacing"], "spacing", units) if given.get("spacing") else 0.0
    if said.wheel:
        length = sum(read_quantity(text, "distance", units) for text in said.wheel)
        plants = answer.stand.plants_m2 * length * spacing * rows
        return _over("plants counted / (distances walked × row spacing × rows)", plants, (length, spacing, rows))
    total, n = sum(float(c) for c in said.counts), float(len(said.counts))
    if given.get("row"):
        length = read_quantity(given["row"], "distance", units)
        return _over("plants counted / (places × length of row × row spacing × rows)", total, (n, length, spacing, rows))
    if given.get("hoop"):
        area = agronomy.hoop_area(read_quantity(given["hoop"], "width", units))
        return _over("plants counted / (places × pi × width of the hoop² / 4)", total, (n, area))
    area = agronomy.hoop_area_from_girth(read_quantity(given["hoop_round"], "width", units))
    return _over("plants counted / (places × length round the hoop² / (4 × pi))", total, (n, area))


def _over(formula: str, plants: float, ground: Sequence[float]) -> Working:
    area = 1.0
    for part in ground:
        area *= part
    return Working(
        name="stand", formula=formula, inputs=(("plants", plants),), result=plants / area, source="definition", where="",
        substituted=f"{rounded(plants)} / ({' × '.join(rounded(x) for x in ground)})",
    )  # fmt: skip


def depth_lines(answer: StandAnswer) -> tuple[CardLine, ...]:
    """Mean depth, its spread, and the share at the depth wanted. [metric]"""
    r = answer.depth
    if r is None:
        return ()
    out = [
        line("dug", "stand", "Depth, mean", "depth", r.mean_m, low=r.low_m, high=r.high_m, why=f"Of {r.n} seeds dug"),
        line("dug-sd", "stand", "From seed to seed, one standard deviation", "depth", r.sd_m, why="All that were dug"),
    ]
    if r.share_in is not None and r.window_m is not None:
        why = f"Between the two depths wanted; {r.shallow or 0:.0%} shallower, {r.deep or 0:.0%} deeper"
        out.append(line("dug-in", "stand", "At the depth wanted", "share", r.share_in, low=r.share_low, high=r.share_high, why=why))
    return tuple(out)


def effect_rows(answer: StandAnswer, units: Profile) -> list[tuple[str, str, str, str]]:
    """Each wing, rank and track against the others: which, how far off, the interval, how many were dug. [text]"""
    if answer.depth is None:
        return []
    out = []
    for e in answer.depth.effects:
        way = "deeper" if e.difference_m > 0 else "shallower"
        low, high = (shown_value(x, "depth", units) for x in (e.low_m, e.high_m))
        off = f"{shown(abs(e.difference_m), 'depth', units)} {way}" if e.told else "no difference told"
        out.append((f"{FACTORS[e.factor]}, {e.level}", off, f"{low} to {high}", str(e.n)))
    return out


def cause_rows(answer: StandAnswer, units: Profile) -> list[tuple[str, str, str, str]]:
    """Causes of a thin stand, likeliest first: what, its share of the odds, what was read, what would settle it. [text]"""
    if answer.thin is None:
        return []
    return [
        (f"{c.words[:1].upper()}{c.words[1:]}", f"{c.share:.0%}", c.evidence or "Nothing read.", c.settle_by) for c in answer.thin.causes
    ]


def keep_rows(answer: StandAnswer) -> list[tuple[str, str, str, str]]:
    """Keep or sow again, publisher by publisher: who, verdict, its words shortened, its source. [text]"""
    if answer.keep is None:
        return []
    out = []
    for a in answer.keep.advice:
        words = f"{a.words[:1].upper()}{a.words[1:].rstrip('.')}."
        potential = "" if a.potential_low is None else f" Of a full yield: {_span(a.potential_low, a.potential_high)}."
        cited = str(source(a.source)) if a.source in sources() else a.source
        out.append((f"{a.publisher} ({a.about})", VERDICTS[a.verdict], f"{words}{potential} {a.note}".strip(), f"{cited} [{a.seen}]"))
    return out


def _span(low: float, high: float | None) -> str:
    return f"{low:.0%}" if high is None or f"{low:.0%}" == f"{high:.0%}" else f"{low:.0%} to {high:.0%}"


def publisher_choices() -> tuple[tuple[str, str], ...]:
    """Publishers on keeping or sowing again: key, and name with the crops it speaks of. [-]"""
    sheets = table("reseeding")
    return tuple((key, f"{sheets[key]['publisher']} ({sheets[key]['about']})") for key in agronomy.keep_publishers())


def merged(typed: Mapping[str, str], facts: Sequence[KnownFact]) -> tuple[dict[str, str], tuple[KnownFact, ...]]:
    """What was typed over what the job tells, and the facts of the job that were used.

    Parameters
    ----------
    typed : mapping of str to str
        Texts by name; "" is not typed. [text]
    facts : sequence of KnownFact
        Of the job. [-]

    Returns
    -------
    tuple
        (texts by name, facts used). [-]
    """
    used = tuple(f for f in facts if not typed.get(f.name))
    return {f.name: f.text for f in used} | {name: text for name, text in typed.items() if text}, used
