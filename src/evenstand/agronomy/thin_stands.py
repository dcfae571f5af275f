"""A thin stand weighed against seedbed, depth, fertilizer, rate and time before anything is blamed."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from evenstand.agronomy.depths import DepthReport
from evenstand.agronomy.seed_row import MOISTURES
from evenstand.agronomy.stands import Stand
from evenstand.base.errors import InputError, require_range
from evenstand.base.estimate import Est
from evenstand.base.units import Profile, shown
from evenstand.reference import figure

Cause = Literal["early", "depth", "moisture", "fertilizer", "rate", "lot", "other"]
THIN_CAUSES: tuple[Cause, ...] = ("early", "depth", "moisture", "fertilizer", "rate", "lot", "other")

_WORDS: dict[Cause, str] = {
    "early": "not all of it is up yet",
    "depth": "depth of the seed",
    "moisture": "a dry seedbed",
    "fertilizer": "fertilizer in the seed row",
    "rate": "less seed sown than asked",
    "lot": "the lot: germination or kernel weight not as typed",
    "other": "something else: crust, frost, insects, disease, birds, washing",
}
_SETTLE: dict[Cause, str] = {
    "early": "Count the same places again in a few days.",
    "depth": "Dig ten seeds in thin and thick spots, and note depth, rank and wing.",
    "moisture": "Dig for seed that has not germinated: hard and dry, or swollen?",
    "fertilizer": "Compare the fertilizer in the seed row with its limit, and look at the roots beside the band.",
    "rate": "Prove the rate: a catch, or a weighed fill over the hectares since.",
    "lot": "Have the lot's germination and kernel weight tested again, from the sample kept.",
    "other": "Dig in thin and thick spots side by side, and look for seed, sprouts and bites.",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class ThinCause:
    """One cause. prior: its share of the odds before the readings, share: after them [-]; evidence: what speaks for or against it, ""
    where nothing was read; read: whether something was; settle_by: the reading that would settle it."""

    cause: Cause
    words: str
    prior: float
    share: float
    evidence: str
    read: bool
    settle_by: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ThinStand:
    """A counted stand against the one expected.

    state: "holds" where it is not thin; "does-not-hold" where it is, and a cause stands out; "cannot-tell" where the counts are too few
    to say, or it is thin and no cause stands out. missing: share of the expected plants not found, with its sd [-]; p_thin: chance that
    the true stand is below what was expected by anything at all [-]; causes: likeliest first, empty where it holds; told: the cause that
    stands out, or ""; claim: in words; settle_by: the next reading that would settle it; not_claimed: what this must not be taken for.
    """

    state: Literal["holds", "does-not-hold", "cannot-tell"]
    missing: Est
    p_thin: float
    causes: tuple[ThinCause, ...]
    told: str
    claim: str
    settle_by: str
    not_claimed: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Seedbed:
    """What was found beside the counts; None or "" for what was not looked at.

    depth: dug seed with a window; moisture: "excellent", "good" or "dry" at seeding; row_fertilizer_kg_ha: nutrient in the seed row, and
    row_limit_kg_ha: its published limit [kg/ha]; asked_rate_kg_ha: seed asked for [kg/ha], proven_rate_kg_ha: as proven by a catch
    or weighed fills [kg/ha]; days_since: since seeding [d], days_to_emerge: usual until the last are up, in this spring [d];
    volunteers_m2: counted plants that were not sown [plants/m²].
    """

    depth: DepthReport | None = None
    moisture: str = ""
    row_fertilizer_kg_ha: float | None = None
    row_limit_kg_ha: float | None = None
    asked_rate_kg_ha: float | None = None
    proven_rate_kg_ha: Est | None = None
    days_since: float | None = None
    days_to_emerge: float | None = None
    volunteers_m2: float = 0.0


def weigh_thin_stand(expected: Est, stand: Stand, seedbed: Seedbed | None = None, *, profile: Profile = "si") -> ThinStand:
    """Whether a stand is thin, and what most likely made it so: stated prior odds times what was read.

    Parameters
    ----------
    expected : Est
        Stand that the rate asked for should have given, `SeedingPlan.stand`. [plants/m²]
    stand : Stand
        Counted; volunteers are taken off. [plants/m²]
    seedbed : Seedbed or None
        What else was found. [-]
    profile : str
        Units of the sentences: "si", "prairie" or "us". [-]

    Returns
    -------
    ThinStand
        With shares of the odds, not a proof. [-]

    Raises
    ------
    InputError
        If the moisture word is unknown.
    RangeError
        If an amount is outside its range.

    References
    ----------
    definition: odds after = odds before x likelihood ratio. common-practice: the odds before.

    Examples
    --------
    >>> from evenstand.agronomy.stands import stand_from_counts
    >>> counted = stand_from_counts([30, 34, 28, 33, 31, 29], 0.25)
    >>> weigh_thin_stand(Est(value=250, sd=15), counted, Seedbed(moisture="dry")).causes[0].cause
    'moisture'
    """
    found = seedbed or Seedbed()
    _check(expected, found)
    counted = Est(value=max(0.0, stand.plants_m2 - found.volunteers_m2), sd=stand.sd)
    missing = _missing(expected, counted)
    spread = math.hypot(expected.sd, counted.sd)
    p_thin = _normal((expected.value - counted.value) / spread) if spread else float(counted.value < expected.value)
    worth = figure("thin_stands", "line", "worth").value
    if p_thin < 0.95:
        return _not_thin(missing, p_thin, stand, worth)
    causes = _ranked(found, expected, counted, profile)
    return _thin(missing, p_thin, causes, found)


def _check(expected: Est, found: Seedbed) -> None:
    require_range("expected", expected.value, 0, low_open=True, unit="plants/m²")
    if found.moisture and found.moisture not in MOISTURES:
        raise InputError(f"'{found.moisture}' is not known", where="moisture", cure=f"Use {', '.join(MOISTURES)}.")
    for name in ("row_fertilizer_kg_ha", "row_limit_kg_ha", "days_since", "days_to_emerge", "volunteers_m2"):
        value = getattr(found, name)
        if value is not None:
            require_range(name, value, 0)
    if found.asked_rate_kg_ha is not None:
        require_range("asked_rate_kg_ha", found.asked_rate_kg_ha, 0, low_open=True, unit="kg/ha")


def _missing(expected: Est, counted: Est) -> Est:
    """Share of the plants expected that is not there. [-]"""
    ratio = counted.value / expected.value
    sd = math.hypot(counted.sd / expected.value, ratio * expected.relative_sd)
    return Est(value=1 - ratio, sd=sd, basis="computed", source="counts against the stand expected")


def _normal(z: float) -> float:
    return 0.5 * (1 + math.erf(z / math.sqrt(2)))


def _not_thin(missing: Est, p_thin: float, stand: Stand, worth: float) -> ThinStand:
    """Nothing to explain, or not enough counts to say so."""
    unsure = missing.value + 2 * missing.sd > worth and missing.value > worth
    if unsure:
        more = max(1, stand.counts_still_needed)
        claim = f"About {missing.value:.0%} fewer plants than expected, but counts and expectation leave room for none: cannot tell."
        settle = f"Count {more} more places." if stand.counts_still_needed else "Narrow what was expected: test the lot, prove the rate."
    else:
        claim, settle = "The stand is what was to be expected, as far as counts and expectation can tell.", ""
    return ThinStand(
        state="cannot-tell" if unsure else "holds", missing=missing, p_thin=p_thin, causes=(), told="", claim=claim, settle_by=settle,
        not_claimed="That seed was placed as it should be: a stand can come out right by two faults.",
    )  # fmt: skip


def _ranked(found: Seedbed, expected: Est, counted: Est, profile: Profile) -> tuple[ThinCause, ...]:
    """Prior odds times the worth of what was read, likeliest first."""
    odds = {cause: figure("thin_stands", "odds", cause).value for cause in THIN_CAUSES}
    readings = {
        "early": _early(found),
        "depth": _depth(found),
        "moisture": _moisture(found),
        "fertilizer": _fertilizer(found, profile),
        "rate": _rate(found, expected, counted, profile),
    }
    factor = {1: figure("thin_stands", "factor", "for").value, -1: figure("thin_stands", "factor", "against").value, 0: 1.0}
    weighed = {cause: odds[cause] * factor[readings.get(cause, (0, ""))[0]] for cause in THIN_CAUSES}
    total, before = sum(weighed.values()), sum(odds.values())
    causes = [
        ThinCause(
            cause=cause,
            words=_WORDS[cause],
            prior=odds[cause] / before,
            share=weighed[cause] / total,
            evidence=readings.get(cause, (0, ""))[1],
            read=bool(readings.get(cause, (0, ""))[1]),
            settle_by=_SETTLE[cause],
        )
        for cause in THIN_CAUSES
    ]
    return tuple(sorted(causes, key=lambda c: -c.share))


def _thin(missing: Est, p_thin: float, causes: tuple[ThinCause, ...], found: Seedbed) -> ThinStand:
    """Thin for certain; name a cause only where one stands out, and the next reading either way."""
    first, second = causes[0], causes[1]
    named = figure("thin_stands", "line", "named").value
    ahead = figure("thin_stands", "line", "ahead").value
    stands_out = first.read and first.share >= named and first.share >= ahead * second.share
    gap = f"{missing.value:.0%} fewer plants than expected"
    unread = [c for c in causes if not c.read]
    if stands_out:
        claim, settle = f"{gap}; most likely {first.words}. {first.evidence}", first.settle_by
    else:
        listed = ", ".join(c.words for c in causes[:3])
        claim = f"{gap}. Cannot tell why yet; likeliest: {listed}."
        # an unread cause that still weighs much is read first; else the runner-up, which parts it from the first
        open_one = next((c for c in unread if 2 * c.share >= first.share), None)
        settle = (open_one or second).settle_by
    rate_read = found.asked_rate_kg_ha is not None and found.proven_rate_kg_ha is not None
    return ThinStand(
        state="does-not-hold" if stands_out else "cannot-tell", missing=missing, p_thin=p_thin, causes=causes,
        told=first.cause if stands_out else "", claim=claim.strip(), settle_by=settle,
        not_claimed="That it was the only cause." if rate_read else "That the meter gave less: nothing has been proven of the rate.",
    )  # fmt: skip


def _early(found: Seedbed) -> tuple[int, str]:
    if found.days_since is None or found.days_to_emerge is None:
        return 0, ""
    if found.days_since < found.days_to_emerge:
        return 1, f"{found.days_since:g} days since seeding, {found.days_to_emerge:g} until all are usually up."
    return -1, f"{found.days_since:g} days since seeding: whatever comes up should be up."


def _depth(found: Seedbed) -> tuple[int, str]:
    report = found.depth
    if report is None or report.share_in is None:
        return 0, ""
    text = f"{report.share_in:.0%} of {report.n} seeds lay in the depth window."
    if report.share_in >= figure("thin_stands", "line", "depth-holds").value:
        return -1, text
    return (1, text) if report.share_in < figure("thin_stands", "line", "depth-off").value else (0, text)


def _moisture(found: Seedbed) -> tuple[int, str]:
    if not found.moisture:
        return 0, ""
    return (1 if found.moisture == "dry" else -1), f"The seedbed was {found.moisture} for moisture."


def _fertilizer(found: Seedbed, profile: Profile) -> tuple[int, str]:
    if found.row_fertilizer_kg_ha is None:
        return 0, ""
    if found.row_fertilizer_kg_ha == 0:
        return -1, "No fertilizer went into the seed row."
    if found.row_limit_kg_ha is None:
        return 0, ""
    asked, limit = shown(found.row_fertilizer_kg_ha, "rate", profile), shown(found.row_limit_kg_ha, "rate", profile)
    text = f"{asked} in the seed row against a limit of {limit}."
    if found.row_fertilizer_kg_ha > found.row_limit_kg_ha:
        return 1, text
    low = found.row_fertilizer_kg_ha < figure("thin_stands", "line", "fertilizer-low").value * found.row_limit_kg_ha
    return (-1 if low else 0), text


def _rate(found: Seedbed, expected: Est, counted: Est, profile: Profile) -> tuple[int, str]:
    """Whether the rate as proven makes the gap go away, or is as asked."""
    proven, asked = found.proven_rate_kg_ha, found.asked_rate_kg_ha
    if proven is None or asked is None:
        return 0, ""
    ratio = proven.value / asked
    text = f"{shown(proven.value, 'rate', profile)} proven against {shown(asked, 'rate', profile)} asked."
    again = Est(value=expected.value * ratio, sd=expected.value * math.hypot(proven.sd / asked, ratio * expected.relative_sd))
    spread = math.hypot(again.sd, counted.sd)
    short = ratio + 2 * proven.sd / asked < 1
    if short and again.value - counted.value < 2 * spread:
        return 1, f"{text} That alone would explain it."
    if short:
        return 0, f"{text} That explains a part."
    return -1, f"{text} The rate is as asked."
