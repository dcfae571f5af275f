"""Running the checks: every pair of every `on_*.py` beside this file, and the independent checks."""

from __future__ import annotations

import importlib
import math
import pkgutil
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from evenstand.base.errors import Fault, InputError
from evenstand.reference import source
from evenstand.verify.metric import MetricUnit, metric_unit
from evenstand.verify.pairs import Independent, Pair, printed_value
from evenstand.verify.topics import topic_of


@dataclass(frozen=True, slots=True, kw_only=True)
class Value:
    """One printed value and ours; computed None where our function failed, error says how."""

    label: str
    printed: str
    computed: float | None
    tolerance: float
    ok: bool
    error: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """One pair, run. `worst` is the value furthest from its print, in tolerances; seen is its source's tag."""

    pair: Pair
    seen: str
    values: tuple[Value, ...]
    worst: Value

    @property
    def ok(self) -> bool:
        """Whether every value agrees; for a trap, whether ours differs in the known way."""
        return all(value.ok for value in self.values)

    @property
    def topic(self) -> str:
        """The chapter it belongs to."""
        return topic_of(self.pair.function)

    @property
    def metric(self) -> MetricUnit:
        """Where the printed unit leads; a conversion is not converted once more."""
        return MetricUnit(unit=self.pair.unit) if self.pair.kind == "unit" else metric_unit(self.pair.unit)


@dataclass(frozen=True, slots=True, kw_only=True)
class IndependentResult:
    """An independent check, run."""

    check: Independent
    ok: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """All that was run. checks: published figures; traps: known misprints; units: conversions; independent: no published figure."""

    checks: tuple[Check, ...]
    traps: tuple[Check, ...]
    units: tuple[Check, ...]
    independent: tuple[IndependentResult, ...]

    @property
    def ok(self) -> bool:
        """Whether nothing is red."""
        return all(c.ok for c in (*self.checks, *self.traps, *self.units)) and all(r.ok for r in self.independent)

    @property
    def counts(self) -> dict[str, int]:
        """How many of what; a pair is one function with one source, however many cases or cells."""
        pairs = {(c.pair.function, c.pair.source): c.seen for c in self.checks}
        return {
            "pairs": len(pairs),
            "read": sum(seen == "read" for seen in pairs.values()),
            "second_hand": sum(seen == "second-hand" for seen in pairs.values()),
            "sources": len({source_key for _, source_key in pairs}),
            "functions": len({function for function, _ in pairs}),
            "traps": sum(c.pair.kind != "unit" for c in self.traps),
            "checks": len(self.checks),
            "values": sum(len(c.values) for c in self.checks),
            "units": len(self.units),
            "unit_traps": sum(c.pair.kind == "unit" for c in self.traps),
            "independent": len(self.independent),
            "red": sum(not c.ok for c in (*self.checks, *self.traps, *self.units)) + sum(not r.ok for r in self.independent),
        }

    def to_dict(self) -> dict[str, object]:
        """Plain data for JSON."""
        return {
            "ok": self.ok,
            "counts": self.counts,
            "checks": [_check_dict(c) for c in self.checks],
            "traps": [_check_dict(c) for c in self.traps],
            "units": [_check_dict(c) for c in self.units],
            "independent": [
                {
                    "topic": topic_of(r.check.function), "function": r.check.function, "case": r.check.case, "how": r.check.how, "ok": r.ok,
                }
                for r in self.independent
            ],
        }  # fmt: skip


def collect() -> tuple[tuple[Pair, ...], tuple[Independent, ...]]:
    """Pairs and independent checks of all `on_*.py` files of this package, in their order."""
    import evenstand.verify as package

    pairs: list[Pair] = []
    independent: list[Independent] = []
    for module in sorted(entry.name for entry in pkgutil.iter_modules(package.__path__) if entry.name.startswith("on_")):
        loaded = importlib.import_module(f"{package.__name__}.{module}")
        pairs += loaded.PAIRS
        independent += getattr(loaded, "INDEPENDENT", ())
    return tuple(pairs), tuple(independent)


def run(pairs: Sequence[Pair] | None = None, independent: Sequence[Independent] | None = None) -> Report:
    """Run the checks, all of them unless some are given.

    Parameters
    ----------
    pairs : sequence of Pair or None
        Published cases. [-]
    independent : sequence of Independent or None
        Checks without a published figure. [-]

    Returns
    -------
    Report
        What was found; nothing is raised for a red check. [-]

    Raises
    ------
    InputError
        If a check leans on memory or on common practice: those are no sources for checks.
    """
    if pairs is None or independent is None:
        all_pairs, all_independent = collect()
        pairs = all_pairs if pairs is None else pairs
        independent = all_independent if independent is None else independent
    _refuse_weak_sources(pairs)
    checks = [run_pair(pair) for pair in pairs]
    return Report(
        checks=tuple(c for c in checks if not c.pair.trap and c.pair.kind != "unit"),
        traps=tuple(c for c in checks if c.pair.trap),
        units=tuple(c for c in checks if not c.pair.trap and c.pair.kind == "unit"),
        independent=tuple(IndependentResult(check=check, ok=run_independent(check)) for check in independent),
    )


def run_pair(pair: Pair) -> Check:
    """Run one pair."""
    values = tuple(_value(pair, label, printed, *_computed(compute)) for label, printed, compute in pair.rows())
    worst = values[0] if pair.exact and all(v.ok for v in values) else max(values, key=_distance)
    return Check(pair=pair, seen=source(pair.source).seen, values=values, worst=worst)


def run_independent(check: Independent) -> bool:
    """Run one independent check; a function that fails is red."""
    try:
        return check.holds()
    except Exception:
        return False


def _computed(compute: object) -> tuple[float | None, str]:
    """Our value, or why there is none: a check that cannot be computed is red, not a crash."""
    try:
        number = float(compute())  # type: ignore[operator]
    except Exception as error:
        return None, f"{type(error).__name__}: {error}"
    return (number, "") if math.isfinite(number) else (None, f"gives {number}")


def _value(pair: Pair, label: str, printed: str, computed: float | None, error: str) -> Value:
    tolerance = pair.tolerance(printed)
    if computed is None:
        return Value(label=label, printed=printed, computed=None, tolerance=tolerance, ok=False, error=error)
    agrees = abs(computed - printed_value(printed)) <= tolerance
    ok = _trap_holds(pair, computed, agrees=agrees) if pair.trap else agrees
    return Value(label=label, printed=printed, computed=computed, tolerance=tolerance, ok=ok)


def _trap_holds(pair: Pair, computed: float, *, agrees: bool) -> bool:
    """Ours differs from the print, and by the known mistake."""
    if agrees:
        return False
    if pair.gap is not None:
        return abs(computed * (1 + pair.gap) - printed_value(pair.published)) <= pair.tolerance(pair.published)
    return abs(computed - printed_value(pair.instead)) <= pair.tolerance(pair.instead)


def _refuse_weak_sources(pairs: Iterable[Pair]) -> None:
    weak = [pair for pair in pairs if source(pair.source).seen not in {"read", "second-hand"} or pair.source == "definition"]
    if weak:
        raise InputError(
            [
                Fault(
                    where=f"{pair.function}: {pair.case}",
                    what=f"leans on '{pair.source}', which is {source(pair.source).seen}",
                    limit="read or second-hand",
                    cure="Make it an independent check.",
                )
                for pair in weak
            ]
        )


def _check_dict(check: Check) -> dict[str, object]:
    pair, worst, metric = check.pair, check.worst, check.metric
    entry: dict[str, object] = {
        "topic": check.topic,
        "function": pair.function,
        "case": pair.case,
        "kind": pair.kind,
        "unit": pair.unit,
        "published": printed_value(worst.printed),
        "printed": worst.printed,
        "computed": worst.computed,
        "tolerance": worst.tolerance,
        "metric_unit": metric.unit,
        **_metric_dict(worst, metric),
        "metric_tolerance": abs(worst.tolerance * metric.factor),
        "source": pair.source,
        "seen": check.seen,
        "where": pair.where,
        "ok": check.ok,
        "values": [_value_dict(value, metric) for value in check.values],
    }
    if pair.why:
        entry["why"] = pair.why
    if pair.trap:
        entry["expected"] = printed_value(pair.instead) if pair.instead else printed_value(pair.published) / (1 + (pair.gap or 0.0))
    return entry


def _metric_dict(value: Value, metric: MetricUnit) -> dict[str, float | None]:
    """The same value as printed and as computed, in the metric unit, and ours less the print. [metric unit]"""
    published = metric.of(printed_value(value.printed))
    computed = None if value.computed is None else metric.of(value.computed)
    return {
        "metric_published": published,
        "metric_computed": computed,
        "metric_difference": None if computed is None else computed - published,
    }


def _distance(value: Value) -> float:
    """How far ours lies from the print, in tolerances. [-]"""
    return math.inf if value.computed is None else abs(value.computed - printed_value(value.printed)) / value.tolerance


def _value_dict(value: Value, metric: MetricUnit) -> Mapping[str, object]:
    entry: dict[str, object] = {"label": value.label, "printed": value.printed, "computed": value.computed, "ok": value.ok}
    entry |= _metric_dict(value, metric)
    if value.error:
        entry["error"] = value.error
    return entry
