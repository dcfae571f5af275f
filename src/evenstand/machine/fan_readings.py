"""Readings at the fan: the puff test, and what the fan loses under load and at lift."""

from __future__ import annotations

import math

from evenstand.base.errors import InputError, require_range
from evenstand.base.units import from_metric, shown, to_metric
from evenstand.model import Finding
from evenstand.model.finding import State
from evenstand.reference import default, figure


def puff_test(slowest_s: float, *, silent: int = 0, rev_s: float | None = None) -> Finding:
    """What a puff test says: a short burst of product, and how long until the last opener blows.

    Parameters
    ----------
    slowest_s : float
        From the burst to the last opener that blew. [s]
    silent : int
        Openers that never blew. [-]
    rev_s : float or None
        Fan speed of the test. [rev/s]

    Returns
    -------
    Finding
        "holds" makes that speed the proven one for this load, product and air. [-]

    Raises
    ------
    RangeError
        If an argument is outside its range.

    References
    ----------
    About 3 s: common practice.
    """
    require_range("slowest_s", slowest_s, 0, 600, unit="s")
    require_range("silent", silent, 0, 1000)
    limit = figure("air", "fan", "puff-seconds").value
    at = "" if rev_s is None else f" at {shown(rev_s, 'fan')}"
    evidence = (f"last opener after {slowest_s:g} s, {silent} silent{at}",)
    walk = "Shut the fan, let it stop, then walk the run from the head to the silent opener."
    if silent:
        word = "opener stays" if silent == 1 else "openers stay"
        return Finding(
            claim=f"{silent} {word} silent{at}: not proven.", state="does-not-hold", suspects=(("run",), ("head",), ("fan",)),
            evidence=evidence, settle_by=walk, about="fan",
        )  # fmt: skip
    if slowest_s > limit:
        return Finding(
            claim=f"The burst takes {slowest_s:g} s, longer than about {limit:g} s{at}: short of air.", state="doubtful",
            suspects=(("fan",), ("lid",), ("head",)), evidence=evidence, about="fan",
            settle_by="Look for a leak at lids, seals and doors and for a dirty fan, then repeat it a little faster.",
        )  # fmt: skip
    return Finding(
        claim=f"All openers blow within {slowest_s:g} s{at}: proven for this load, product and air.", state="holds", evidence=evidence,
        not_claimed="It says nothing about evenness between rows.", about="fan",
    )  # fmt: skip


def fan_droop(
    steady_rev_s: float,
    *,
    loaded_rev_s: float | None = None,
    lifted_rev_s: float | None = None,
    alarm_low_rev_s: float | None = None,
    cold_oil: bool = False,
) -> Finding:
    """What the fan loses once product flows, and for seconds while the tool is lifted.

    Parameters
    ----------
    steady_rev_s : float
        Fan speed with the tool down and no product. [rev/s]
    loaded_rev_s : float or None
        With product flowing. [rev/s]
    lifted_rev_s : float or None
        Lowest while the tool is lifted. [rev/s]
    alarm_low_rev_s : float or None
        Low alarm; None: 6 % below the steady speed, common practice. [rev/s]
    cold_oil : bool
        Read before the oil was warm. [-]

    Returns
    -------
    Finding
        What it means and what to look at. [-]

    Raises
    ------
    RangeError
        If a speed is not above 0 or a drooping one is above 1.5 of the steady one.
    InputError
        If neither drooping speed is given.

    References
    ----------
    Droop of 50 to 200 rpm under load and 300 to 800 rpm at lift: common practice.
    """
    require_range("steady_rev_s", steady_rev_s, 0, math.inf, low_open=True, high_open=True, unit="rev/s")
    if loaded_rev_s is None and lifted_rev_s is None:
        raise InputError("no reading to compare", where="loaded_rev_s, lifted_rev_s", cure="Give the speed under load, at lift, or both.")
    low = steady_rev_s * (1 - default("fan-alarm-low").value) if alarm_low_rev_s is None else alarm_low_rev_s
    require_range("alarm_low_rev_s", low, 0, math.inf, low_open=True, high_open=True, unit="rev/s")
    parts: list[tuple[State, str]] = []
    for value, key, read in ((loaded_rev_s, "load-droop", _under_load), (lifted_rev_s, "lift-sag", _at_lift)):
        if value is not None:
            require_range("a drooping speed", value, 0, 1.5 * steady_rev_s, unit="rev/s")
            most = to_metric(figure("air", "fan", key).high, "fan", "rpm")
            parts.append(read(steady_rev_s - value, value < low, most))
    order: tuple[State, ...] = ("does-not-hold", "doubtful", "holds")
    state = min((s for s, _ in parts), key=order.index)
    cold = ("Oil still cold: fans droop more at dawn; read again when it is warm.",) if cold_oil else ()
    if cold and state == "does-not-hold":
        state = "doubtful"
    return Finding(
        claim=" ".join((*(text for _, text in parts), *cold)),
        state=state,
        suspects=() if state == "holds" else (("fan",),),
        evidence=tuple(
            f"{name} {shown(value, 'fan')}"
            for name, value in (("steady", steady_rev_s), ("under load", loaded_rev_s), ("at lift", lifted_rev_s), ("low alarm", low))
            if value is not None
        ),
        settle_by="" if state == "holds" else "Warm oil, engine at working speed: read it again under load and at lift.",
        about="fan",
    )


_DUST = 1e-9  # a reading of just the usual figure is the usual figure


def _rpm(value: float) -> str:
    return f"{from_metric(value, 'fan', 'rpm'):.0f} rpm"


def _under_load(droop: float, alarm: bool, most: float) -> tuple[State, str]:
    if alarm:
        return "does-not-hold", f"Loses {_rpm(droop)} once product flows and falls below the low alarm: set it again with product flowing."
    if droop > most * (1 + _DUST):
        return "doubtful", f"Loses {_rpm(droop)} once product flows, more than the usual {_rpm(most)}: look at hydraulic flow."
    return "holds", f"Loses {_rpm(max(droop, 0.0))} once product flows, as usual."


def _at_lift(sag: float, alarm: bool, most: float) -> tuple[State, str]:
    if sag > most * (1 + _DUST):
        return "does-not-hold", f"Sags {_rpm(sag)} when you lift, more than the usual {_rpm(most)}: check hydraulic flow and priority."
    if alarm:
        return "doubtful", f"Sags {_rpm(sag)} when you lift, below the low alarm: check hydraulic flow and priority; headlands plug first."
    return "holds", f"Sags {_rpm(max(sag, 0.0))} when you lift, within the alarm."
