"""The page `docs/verification.md`, made from a run of the checks."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from evenstand.base.units import rounded
from evenstand.reference import source
from evenstand.verify.metric import figure_text
from evenstand.verify.mutation import Sharpness
from evenstand.verify.pairs import printed_value
from evenstand.verify.running import Check, IndependentResult, Report, Value
from evenstand.verify.topics import by_topic

HEAD = """<!-- Made by `evenstand verify --page docs/verification.md`. Do not edit: change the checks and make it again. -->
# Verification

What others have printed, and what our functions say to it. A *pair* is one public function with one source, however many
cases or cells of a table are behind it. *Read* means that the publisher's own page or paper was read (often only part of it);
*second-hand* means as quoted by somebody else. Nothing here leans on memory or on common practice, and no number of our own making
counts as published.
"""
READING = """## How to read the tables

*Printed* is the figure as its source has it, in the source's units. *In metric* is that figure in the unit we calculate in, *ours* what our
function gives, and *off by* is ours less the print, with the most it may be off in brackets: half the last digit printed, unless a reason
stands with the case. Of a table with several values the one furthest off is shown; the others stand under "All values of the tables".
"""


def page(report: Report, sharpness: Sharpness) -> str:
    """The whole page as Markdown.

    Parameters
    ----------
    report : Report
        A run of all checks. [-]
    sharpness : Sharpness
        What happens when numbers are made too large. [-]

    Returns
    -------
    str
        Markdown, ending in one line break. [-]
    """
    parts = [
        HEAD,
        _summary(report, sharpness),
        READING,
        *(_topic(topic, checks) for topic, checks in by_topic((c.pair.function, c) for c in report.checks).items()),
        "## Known misprints and short-cuts\n\nHere ours must differ from the print, and by exactly the known mistake.\n\n"
        + _traps(report.traps),
        "## Unit conversions\n\nCounted apart: they say nothing about the formulas.\n\n" + _checks(report.units),
        _independent(report),
        _sharpness(sharpness),
        _all_values(report),
        _sources(report),
    ]
    return "\n".join(part.rstrip() + "\n" for part in parts)


def _summary(report: Report, sharpness: Sharpness) -> str:
    c = report.counts
    caught = rounded(100 * sharpness.share("published", "independent"), 0)
    red = "Nothing is red." if report.ok else f"**{c['red']} checks are red.**"
    lines = (
        f"**{c['pairs']} pairs** of {c['functions']} functions with {c['sources']} sources: {c['read']} read, {c['second_hand']} "
        f"second-hand; {c['checks']} cases with {c['values']} printed values.",
        f"{c['traps'] + c['unit_traps']} misprints or short-cuts that ours must not repeat.",
        f"{c['units']} unit conversions and {c['independent']} independent checks, counted apart.",
        f"Of the numbers made 1 % too large, {caught} % turn a check red.",
        red,
    )
    return "\n".join(f"- {line}" for line in lines) + "\n"


def _topic(topic: str, checks: Sequence[Check]) -> str:
    """One chapter: what was read, then what was quoted."""
    parts = [f"## {topic}\n"]
    for seen, title in (("read", "Read"), ("second-hand", "Second-hand")):
        own = [check for check in checks if check.seen == seen]
        if own:
            parts.append(f"### {title}\n\n{_checks(own)}")
    return "\n".join(parts)


def _table(head: tuple[str, ...], rows: Iterable[tuple[str, ...]], *, right: tuple[int, ...] = ()) -> str:
    rule = "|" + "".join(" ---: |" if i in right else " --- |" for i in range(len(head)))
    lines = ["| " + " | ".join(head) + " |", rule]
    lines += ["| " + " | ".join(cell.replace("|", "\\|") for cell in row) + " |" for row in rows]
    return "\n".join(lines) + "\n"


def _checks(checks: Iterable[Check]) -> str:
    rows = []
    for check in sorted(checks, key=lambda c: (c.pair.function, c.pair.source)):
        pair = check.pair
        printed, metric, ours, off = _cells(check, check.worst)
        rows.append((f"`{pair.function}`", _case(check), printed, metric, ours, off, f"[{pair.source}](#{pair.source}), {pair.where}"))
    return _table(("function", "case", "printed", "in metric", "ours", "off by", "source"), rows, right=(2, 3, 4, 5))


def _case(check: Check) -> str:
    """The case in words, which of its values is shown, and why the tolerance is wider where it is."""
    pair, many = check.pair, len(check.values)
    which = "" if many == 1 else f" (all {many} exactly; the first: {check.worst.label})" if pair.exact and check.ok else (
        f" (furthest off of {many}: {check.worst.label})"
    )  # fmt: skip
    return pair.case + which + (f"; {pair.why}" if pair.why else "")


def _cells(check: Check, value: Value) -> tuple[str, str, str, str]:
    """(printed, in metric, ours, off by) of one value, as text."""
    metric, pair = check.metric, check.pair
    within = abs(value.tolerance * metric.factor)
    unit = "" if pair.unit in {"-", "as the data"} else f" {pair.unit}"
    printed = metric.of(printed_value(value.printed))
    if value.computed is None:
        return f"{value.printed}{unit}", "-", "-", f"**red**: {value.error}"
    ours = metric.of(value.computed)
    off = f"{figure_text(ours - printed, within)} ({figure_text(within, within)})"
    if pair.exact:
        off = "nothing, exactly" if value.ok else f"{ours - printed:.6g}, must be exact"
    same = metric.unit == pair.unit
    shown = within if not pair.exact else 0.5 * 10 ** -len(value.printed.partition(".")[2]) * abs(metric.factor)
    return (
        f"{value.printed}{unit}",
        "as printed" if same else f"{figure_text(printed, shown)} {metric.unit}",
        figure_text(ours, shown),
        off if value.ok else f"**red**: {off}",
    )


def _traps(checks: Iterable[Check]) -> str:
    rows = []
    for check in checks:
        pair, metric = check.pair, check.metric
        within = abs(check.worst.tolerance * metric.factor)
        ours = None if check.worst.computed is None else metric.of(check.worst.computed)
        printed = figure_text(metric.of(printed_value(pair.published)), within)
        rows.append(
            (
                f"`{pair.function}`",
                pair.case,
                pair.published if pair.unit == "-" else f"{pair.published} {pair.unit}",
                "as printed" if metric.unit == pair.unit else f"{printed} {metric.unit}",
                figure_text(ours, within / 10),
                pair.why,
                f"[{pair.source}](#{pair.source}), {pair.where}",
                "differs as known" if check.ok else "**red**",
            )
        )
    return _table(
        ("function", "case", "printed", "in metric", "ours", "what went wrong in print", "source", "result"), rows, right=(2, 3, 4)
    )


def _independent(report: Report) -> str:
    parts = [
        "## Independent checks\n\nAgainst an inverse, a closed form or another library: no published figures, and counted apart. "
        "`evenstand verify --json` lists each of them.\n"
    ]
    rows = []
    for topic, results in by_topic((r.check.function, r) for r in report.independent).items():
        of_function: dict[str, list[IndependentResult]] = {}
        for result in results:
            of_function.setdefault(result.check.function, []).append(result)
        for function, own in of_function.items():
            ways = ", ".join(dict.fromkeys(r.check.how.partition(":")[0] for r in own))
            red = "; ".join(r.check.case for r in own if not r.ok)
            rows.append((topic, f"`{function}`", ways, str(len(own)), f"**red**: {red}" if red else "all agree"))
    return "\n".join([*parts, _table(("topic", "function", "how", "checks", "result"), rows, right=(3,))])


def _sharpness(sharpness: Sharpness) -> str:
    def named(kind: str) -> str:
        of_function: dict[str, list[str]] = {}
        for mutant in sharpness.mutants:
            if mutant.caught == kind:
                of_function.setdefault(mutant.function, []).append(mutant.field)
        listed = [f"`{function}`" + (f" ({', '.join(fields)})" if any(fields) else "") for function, fields in sorted(of_function.items())]
        return "; ".join(listed) or "none"

    return (
        "## How sharp the checks are\n\n"
        "Each number that a function of the public calculation API gives is made 1 % too large, one at a time. Names, places in a list and "
        "counts out of a list of names are no numbers and are left alone.\n\n"
        f"- turned a published figure red: {rounded(100 * sharpness.share('published'), 0)} %: {named('published')}\n"
        f"- turned only an independent check red: {named('independent')}\n"
        f"- functions held by independent checks only: {', '.join(f'`{f}`' for f in sharpness.only_independent) or 'none'}\n"
        f"- turned nothing red: {named('missed')}\n"
        f"- functions that no check calls (their own tests hold them): {', '.join(f'`{f}`' for f in sharpness.untouched) or 'none'}\n"
    )


def _all_values(report: Report) -> str:
    """Every value of every table with more than one, out of the way."""
    parts = ["## All values of the tables\n\n*Printed*, *in metric*, *ours* and *off by* as above.\n"]
    for topic, checks in by_topic((c.pair.function, c) for c in report.checks).items():
        several = [check for check in checks if len(check.values) > 1]
        if not several:
            continue
        values = sum(len(check.values) for check in several)
        parts.append(f"<details><summary>{topic}: {values} values</summary>\n")
        for check in several:
            rows = [(value.label, *_cells(check, value)) for value in check.values]
            parts.append(
                f"`{check.pair.function}`, [{check.pair.source}](#{check.pair.source}), {check.pair.where}: {check.pair.case}\n\n"
                + _table(("value", "printed", "in metric", "ours", "off by"), rows, right=(1, 2, 3, 4))
            )
        parts.append("</details>\n")
    return "\n".join(parts)


def _sources(report: Report) -> str:
    used = sorted({c.pair.source for c in (*report.checks, *report.traps, *report.units)})
    pairs = {(c.pair.function, c.pair.source) for c in report.checks}
    rows = []
    for key in used:
        entry = source(key)
        own = sum(found == key for _, found in pairs)
        rows.append(
            (f'<a id="{key}"></a>{key}', entry.author, entry.title, entry.publisher, entry.year, entry.place, entry.seen, str(own or "-"))
        )
    return "## Sources\n\nA title in square brackets is ours: the copy that was read showed none.\n\n" + _table(
        ("key", "author", "title", "publisher", "year", "place", "seen", "pairs"), rows
    )
