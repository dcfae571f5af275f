"""The page `docs/verification.md`, made from a run of the checks."""

from __future__ import annotations

from collections.abc import Iterable

from evenstand.base.units import rounded
from evenstand.reference import source
from evenstand.verify.mutation import Sharpness
from evenstand.verify.running import Check, Report

HEAD = """<!-- Made by `evenstand verify --page docs/verification.md`. Do not edit: change the checks and make it again. -->
# Verification

What others have printed, and what our functions say to it. A *pair* is one public function with one source, however many
cases or cells of a table are behind it. The tolerance is half the last digit printed, unless a reason stands beside it. *Read* means that
the publisher's own page or paper was read (often only part of it); *second-hand* means as quoted by somebody else.
Nothing here leans on memory or on common practice, and no number of our own making counts as published.
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
        "## Published figures\n\n" + _checks(report.checks),
        "## Known misprints and short-cuts\n\nHere ours must differ from the print, and by exactly the known mistake.\n\n"
        + _traps(report.traps),
        "## Unit conversions\n\nCounted apart.\n\n" + _checks(report.units),
        _independent(report),
        _sharpness(sharpness),
        _sources(report),
    ]
    return "\n".join(part.rstrip() + "\n" for part in parts)


def _summary(report: Report, sharpness: Sharpness) -> str:
    c = report.counts
    red = "Nothing is red." if report.ok else f"**{c['red']} checks are red.**"
    caught = rounded(100 * sharpness.share("published", "independent"), 0)
    return (
        f"{c['pairs']} pairs of {c['functions']} functions with {c['sources']} sources ({c['read']} read, {c['second_hand']} second-hand), "
        f"{c['checks']} cases with {c['values']} printed values; {c['traps'] + c['unit_traps']} misprints or short-cuts avoided; "
        f"{c['units']} unit conversions; {c['independent']} independent checks. {red} "
        f"Of the numbers made 1 % too large, {caught} % turn a check red.\n"
    )


def _table(head: tuple[str, ...], rows: Iterable[tuple[str, ...]]) -> str:
    lines = ["| " + " | ".join(head) + " |", "|" + " --- |" * len(head)]
    lines += ["| " + " | ".join(cell.replace("|", "\\|") for cell in row) + " |" for row in rows]
    return "\n".join(lines) + "\n"


def _checks(checks: Iterable[Check]) -> str:
    rows = []
    for check in sorted(checks, key=lambda c: (c.pair.function, c.pair.source)):
        pair, worst = check.pair, check.worst
        label = f" (furthest of {len(check.values)}: {worst.label})" if len(check.values) > 1 and not pair.exact else ""
        rows.append(
            (
                f"`{pair.function}`",
                pair.case + label + (f"; {pair.why}" if pair.why else ""),
                f"{worst.printed} {pair.unit}" + (f", first of {len(check.values)}" if pair.exact and check.ok else ""),
                "-" if worst.computed is None else f"{worst.computed:.6g}",
                "exactly" if pair.exact else f"{worst.tolerance:.2g}",
                f"[{pair.source}](#{pair.source}), {pair.where}",
                check.seen,
                "agrees" if check.ok else "**red**",
            )
        )
    return _table(("function", "case", "printed", "ours", "within", "source", "seen", "result"), rows)


def _traps(checks: Iterable[Check]) -> str:
    rows = [
        (
            f"`{c.pair.function}`",
            c.pair.case,
            f"{c.pair.published} {c.pair.unit}",
            "-" if c.worst.computed is None else f"{c.worst.computed:.6g}",
            c.pair.why,
            f"[{c.pair.source}](#{c.pair.source}), {c.pair.where}",
            "differs as known" if c.ok else "**red**",
        )
        for c in checks
    ]
    return _table(("function", "case", "printed", "ours", "what went wrong in print", "source", "result"), rows)


def _independent(report: Report) -> str:
    rows = [(f"`{r.check.function}`", r.check.case, r.check.how, "agrees" if r.ok else "**red**") for r in report.independent]
    return "## Independent checks\n\nAgainst an inverse, a closed form or another library. They are no published figures.\n\n" + _table(
        ("function", "case", "how", "result"), rows
    )


def _sharpness(sharpness: Sharpness) -> str:
    def named(kind: str) -> str:
        found = [f"`{m.function}{'.' + m.field if m.field else ''}`" for m in sharpness.mutants if m.caught == kind]
        return ", ".join(found) or "none"

    return (
        "## How sharp the checks are\n\n"
        "Each number that a function of the public calculation API gives is made 1 % too large, one at a time.\n\n"
        f"- turned a published figure red: {rounded(100 * sharpness.share('published'), 0)} %\n"
        f"- turned only an independent check red: {named('independent')}\n"
        f"- functions held by independent checks only: {', '.join(f'`{f}`' for f in sharpness.only_independent) or 'none'}\n"
        f"- turned nothing red: {named('missed')}\n"
        f"- functions that no check calls (their own tests hold them): {', '.join(f'`{f}`' for f in sharpness.untouched) or 'none'}\n"
    )


def _sources(report: Report) -> str:
    used = sorted({c.pair.source for c in (*report.checks, *report.traps, *report.units)})
    rows = []
    for key in used:
        entry = source(key)
        rows.append((f'<a id="{key}"></a>{key}', entry.author, entry.title, entry.publisher, entry.year, entry.place, entry.seen))
    return "## Sources\n\nA title in square brackets is ours: the copy that was read showed none.\n\n" + _table(
        ("key", "author", "title", "publisher", "year", "place", "seen"), rows
    )
