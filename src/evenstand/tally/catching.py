"""Catch tests: product per turn from one catch or more, and from what a display said it had sown."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from evenstand.base.errors import Fault, RangeError, require_range
from evenstand.base.estimate import Est
from evenstand.base.worked import worked
from evenstand.solve.repeats import Repeats, mean_of_repeats, student_t

Verdict = Literal["good", "longer", "find out why"]
PRIOR_DOF = 6.0
MOST_CATCHES = 99
ODD = 0.01  # catches this unlikely apart, or a factor this unlike the one expected, want a reason
SCALE_SHARE = 0.25  # share of the variance from which the scale, and not the meter, is what limits


@dataclass(frozen=True, slots=True, kw_only=True)
class CatchTest:
    """What a catch test says.

    factor_kg_rev: product per turn of the whole meter [kg/turn]; low, high: at the confidence asked [kg/turn]; sd: of the factor
    [kg/turn]; cv: spread of one catch, prior and data together [-]; catches_needed: equal catches until the half width of the interval
    is within the precision asked, those made counted; longer_turns: turns of a single catch that would do it, None if the spread between
    catches and not the scale is what limits [turns]; odd: probability of catches as far apart as these if all were well, None for one;
    scale_share: share of one catch's variance that is the scale's [-]; change: factor over the one expected, less one, None without one
    [-]; verdict: "good", "longer" or "find out why"; why: the reason, in a sentence.
    """

    factor_kg_rev: float
    low: float
    high: float
    sd: float
    cv: float
    catches_needed: int
    longer_turns: float | None
    odd: float | None
    scale_share: float = 0.0
    change: float | None = None
    verdict: Verdict = "good"
    why: str = ""


def catch_test(
    masses_kg: Sequence[float] | npt.NDArray[np.float64],
    turns: float,
    *,
    share: float = 1.0,
    tare_kg: float = 0,
    scale_division_kg: float = 0,
    prior_cv: float = 0.015,
    confidence: float = 0.95,
    precision: float = 0.02,
    prior_dof: float = PRIOR_DOF,
    expected: Est | None = None,
) -> CatchTest:
    """Product per turn from one catch or more.

    One catch is judged by how well such catches usually repeat; with more, what was seen takes over (a scaled inverse chi-square
    prior on the variance, so the interval is Student's t with six plus n - 1 degrees of freedom). A scale reads to its division: each
    weighing carries division / sqrt(12), and the tare is common to all.

    Parameters
    ----------
    masses_kg : array_like of float, shape (n,)
        Each catch as weighed, bag included. [kg]
    turns : float
        Turns of the meter shaft in each catch. [turns]
    share : float
        Share of the meter's segments that were caught. [-]
    tare_kg : float
        The empty bag. [kg]
    scale_division_kg : float
        Smallest step of the scale. [kg]
    prior_cv : float
        Usual repeatability: free-flowing 0.005 to 0.015, treated or small seed 0.02 to 0.03, fertilizer 0.01 to 0.03 (common practice). [-]
    confidence : float
        Of the interval. [-]
    precision : float
        Half width wanted, relative. [-]
    prior_dof : float
        How many degrees of freedom the usual repeatability is worth; 0 is the plain t interval and needs two catches. [-]
    expected : Est or None
        Product per turn that is typed in or was caught before, with its standard deviation. [kg/turn]

    Returns
    -------
    CatchTest
        Factor with its interval, and what to do: use it, catch longer, or find out why. [kg/turn]

    Raises
    ------
    RangeError
        If a catch weighs no more than its bag, or an argument is outside its range.

    References
    ----------
    ufl-on-farm-trials: t interval of a mean, confidence interval of nine plots, met where `prior_dof` is 0. definition: a value read to a
    division is uniform over it. common-practice: the usual repeatability.

    Examples
    --------
    5.21 kg with a bag of 0.18 kg over 4 turns:

    >>> c = catch_test([5.21], 4, tare_kg=0.18)
    >>> round(c.factor_kg_rev, 4), c.catches_needed, c.verdict
    (1.2575, 3, 'longer')
    """
    weighed = np.atleast_1d(np.asarray(masses_kg, dtype=float))
    require_range("turns", turns, 0, 1e6, low_open=True, unit="turns")
    require_range("share", share, 0, 1, low_open=True)
    require_range("tare_kg", tare_kg, 0, math.inf, high_open=True, unit="kg")
    require_range("scale_division_kg", scale_division_kg, 0, math.inf, high_open=True, unit="kg")
    require_range("prior_cv", prior_cv, 0, 1, low_open=True)
    require_range("precision", precision, 0, 1, low_open=True)
    faults = [
        Fault(where=f"catch {i + 1}", what=f"{m:g} kg with its bag", limit=f"above the bag's {tare_kg:g} kg", cure="Weigh again.")
        for i, m in enumerate(weighed)
        if not (math.isfinite(m) and m > tare_kg)
    ]
    if faults or weighed.size == 0:
        raise RangeError(faults or [Fault(where="masses_kg", what="no catch given", cure="Give at least one.")])
    each = (weighed - tare_kg) / (turns * share)
    step = scale_division_kg / math.sqrt(12) / (turns * share)
    shared = step if tare_kg > 0 else 0.0
    found = mean_of_repeats(each, prior_cv=prior_cv, own_sd=step, shared_sd=shared, prior_dof=prior_dof, confidence=confidence)
    needed = _catches_needed(found.sd_each, shared, found.mean, precision, confidence, prior_dof)
    longer = _longer_turns(turns, step, shared, prior_cv, found.mean, precision, confidence, prior_dof)
    scale = (step**2 + shared**2) / (found.sd_each**2 + shared**2) if found.sd_each > 0 else 0.0
    coarse = turns * math.hypot(step, shared) / (prior_cv * found.mean / 4) if scale > SCALE_SHARE else None
    verdict, why = _verdict(found, needed, coarse, expected, precision)
    return CatchTest(
        factor_kg_rev=found.mean,
        low=found.low,
        high=found.high,
        sd=found.sd,
        cv=found.cv,
        catches_needed=needed,
        longer_turns=longer,
        odd=found.odd,
        scale_share=min(scale, 1.0),
        change=None if expected is None else found.mean / expected.value - 1,
        verdict=verdict,
        why=why,
    )


def _verdict(found: Repeats, needed: int, coarse: float | None, expected: Est | None, precision: float) -> tuple[Verdict, str]:
    """What to do next: a strange result first, then whether it is sharp enough. coarse: turns the scale is fine enough for. [turns]"""
    half = (found.high - found.low) / 2 / found.mean
    if found.odd is not None and found.odd < ODD:
        spread = (found.seen_sd or 0.0) / found.mean
        return "find out why", f"The catches spread by {spread:.1%}, more than such catches do (one time in {_one_in(found.odd)})."
    if expected is not None:
        sd = math.hypot(found.sd, expected.sd)
        if abs(found.mean - expected.value) > student_t(1 - ODD / 2, found.dof) * sd:
            return "find out why", (
                f"{found.mean / expected.value - 1:+.1%} against the product per turn expected: roller, lot, treatment, "
                "segments caught, lumps?"
            )
    if half <= precision:
        return "good", f"Known to {half:.1%}."
    if coarse is not None:
        return (
            "longer",
            f"Known to {half:.1%} only: the scale is coarse for so little product. Catch {math.ceil(coarse)} turns or more in one go.",
        )
    total = f"{needed} catches like this" if needed < MOST_CATCHES else "more catches than anybody makes"
    return "longer", f"Known to {half:.1%} only. Catch more turns at once before catching again; {total} would be needed."


def _one_in(probability: float) -> str:
    return "more than a million" if probability < 1e-6 else f"{round(1 / probability, 1 - len(str(int(1 / probability)))):.0f}"


def _catches_needed(sd_each: float, shared: float, mean: float, precision: float, confidence: float, prior_dof: float) -> int:
    """Equal catches until the half width is within the precision; `MOST_CATCHES` where a tare error alone is larger."""
    for n in range(1, MOST_CATCHES):
        dof = prior_dof + n - 1
        if dof <= 0:
            continue
        t = student_t(0.5 + confidence / 2, dof)
        if t * math.sqrt(sd_each**2 / n + shared**2) <= precision * mean:
            return n
    return MOST_CATCHES


def _longer_turns(
    turns: float, step: float, shared: float, prior_cv: float, mean: float, precision: float, confidence: float, prior_dof: float
) -> float | None:
    """Turns of one catch whose scale error no longer matters; None if the usual spread alone is wider than the precision. [turns]"""
    if prior_dof <= 0:
        return None
    t = student_t(0.5 + confidence / 2, prior_dof)
    room = (precision * mean / t) ** 2 - (prior_cv * mean) ** 2
    if room <= 0:
        return None
    return max(turns, turns * math.sqrt((step**2 + shared**2) / room))


@worked(formula="old_factor * weighed_kg / shown_kg", source="definition", where="mass shown / true mass = typed / true product per turn")
def factor_from_shown(old_factor: float, shown_kg: float, weighed_kg: float) -> float:
    """Product per turn from what the display said it had sown, where turns cannot be read.

    Parameters
    ----------
    old_factor : float
        Typed value in force while it was shown. [kg/turn]
    shown_kg : float
        What the display counted. [kg]
    weighed_kg : float
        What the scale says of the same product. [kg]

    Returns
    -------
    float
        New value to type. [kg/turn]

    Raises
    ------
    RangeError
        If an argument is not above 0.

    Examples
    --------
    Shown 50.0 kg, weighed 53.0 kg, 1.25 typed:

    >>> round(factor_from_shown(1.25, 50.0, 53.0), 4)
    1.325
    """
    for name, value in (("old_factor", old_factor), ("shown_kg", shown_kg), ("weighed_kg", weighed_kg)):
        require_range(name, value, 0, math.inf, low_open=True, high_open=True)
    return old_factor * weighed_kg / shown_kg


@dataclass(frozen=True, slots=True, kw_only=True)
class CatchBand:
    """What the scale should show, bag included: expected_kg, and low_kg to high_kg if the factor holds [kg]; product_kg: without bag."""

    expected_kg: float
    low_kg: float
    high_kg: float
    product_kg: float


def expected_catch(
    factor: Est,
    turns: float,
    *,
    share: float = 1.0,
    tare_kg: float = 0.0,
    scale_division_kg: float = 0.0,
    prior_cv: float = 0.015,
    confidence: float = 0.95,
    prior_dof: float = PRIOR_DOF,
) -> CatchBand:
    """What a catch should weigh if the factor holds, so that the paper can say it before the bag is on the scale.

    Parameters
    ----------
    factor : Est
        Product per turn believed so far, with its standard deviation. [kg/turn]
    turns : float
        Turns to be caught. [turns]
    share : float
        Share of the meter's segments caught. [-]
    tare_kg : float
        The empty bag. [kg]
    scale_division_kg : float
        Smallest step of the scale. [kg]
    prior_cv : float
        Usual repeatability of a catch. [-]
    confidence : float
        Share of good catches that shall lie inside. [-]
    prior_dof : float
        Degrees of freedom the usual repeatability is worth, above 0. [-]

    Returns
    -------
    CatchBand
        Weights on the scale. [kg]

    Raises
    ------
    RangeError
        If an argument is outside its range.

    References
    ----------
    definition: mass = turns x product per turn x share + bag, with the spreads of both.

    Examples
    --------
    >>> band = expected_catch(Est(value=1.25), 4, tare_kg=0.18)
    >>> round(band.low_kg, 2), round(band.expected_kg, 2), round(band.high_kg, 2)
    (5.0, 5.18, 5.36)
    """
    require_range("factor", factor.value, 0, math.inf, low_open=True, high_open=True, unit="kg/turn")
    require_range("turns", turns, 0, 1e6, low_open=True, unit="turns")
    require_range("share", share, 0, 1, low_open=True)
    require_range("tare_kg", tare_kg, 0, math.inf, high_open=True, unit="kg")
    require_range("scale_division_kg", scale_division_kg, 0, math.inf, high_open=True, unit="kg")
    require_range("prior_cv", prior_cv, 0, 1)
    require_range("confidence", confidence, 0, 1, low_open=True, high_open=True)
    require_range("prior_dof", prior_dof, 0, low_open=True)
    product = factor.value * turns * share
    weighings = 2 if tare_kg > 0 else 1
    variance = (factor.sd * turns * share) ** 2 + (prior_cv * product) ** 2 + weighings * scale_division_kg**2 / 12
    half = student_t(0.5 + confidence / 2, prior_dof) * math.sqrt(variance)
    return CatchBand(
        expected_kg=product + tare_kg, low_kg=max(product - half, 0.0) + tare_kg, high_kg=product + half + tare_kg, product_kg=product
    )


@worked(formula="catch_kg / (factor_kg_rev * share)", source="definition", where="turns = mass / mass per turn")
def turns_for_catch(catch_kg: float, factor_kg_rev: float, share: float = 1.0) -> float:
    """Turns that give a catch of a wanted mass.

    Parameters
    ----------
    catch_kg : float
        Product wanted in the bag. [kg]
    factor_kg_rev : float
        Product per turn believed so far. [kg/turn]
    share : float
        Share of the meter's segments caught. [-]

    Returns
    -------
    float
        Turns; round up to whole ones. [turns]

    Raises
    ------
    RangeError
        If the mass is below 0, the factor not above it, or the share outside 0 to 1.
    """
    require_range("catch_kg", catch_kg, 0, math.inf, high_open=True, unit="kg")
    require_range("factor_kg_rev", factor_kg_rev, 0, math.inf, low_open=True, high_open=True, unit="kg/turn")
    require_range("share", share, 0, 1, low_open=True)
    return catch_kg / (factor_kg_rev * share)
