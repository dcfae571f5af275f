"""The tables of the trail bench: as text, and as they stand in the docs."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

MARKS = ("<!-- trail-faults -->", "<!-- end of trail-faults -->")
UNITS = {
    "distance-scale": "(share)", "guidance-width": "m", "fan-sag": "rpm", "fan-droop": "(share)", "speed-frozen": "(share off)",
    "distance-drift": "(share)", "counted-lifted": "ha", "metered-lifted": "turns", "uncounted-work": "ha", "no-fall": "(share missing)",
    "position-jumps": "m", "run-stretch": "s",
}  # fmt: skip
HEADS = (
    "fault", "right", "wrong", "nine in ten from", "passes", "start in evidence", "size in its 95 %", "right, rough",
    "right, hostile", "wrong, hostile",
)  # fmt: skip


def text_of(result: dict[str, Any]) -> str:
    """The tables as text."""
    heads = f"{'right':>20}{'wrong':>18}{'9 in 10 from':>14}{'passes':>8}{'start in':>10}{'size in 95':>12}{'bias':>8}{'says blind':>12}"
    lines = []
    for world, cells in result["cells"].items():
        lines += [f"\nworld: {world}", f"{'fault':17}{'n':>4}{heads}   all runs"]
        lines += [_line(kind, c) for kind, c in cells.items() if c["n"]]
        lines.append(_line("all", result["headline"][world]))
    lines.append("\nfalse alarms on clean days")
    for world, f in result["false_alarms"].items():
        low, high = f["share_95"]
        by = ", ".join(f"{d} {n}" for d, n in f["by_detector"].items())
        lines.append(f"{world:10}{f['alarms']} of {f['days']} days (95 %: {100 * low:.2f} to {100 * high:.2f} %) {by}")
    for world, kinds in result.get("ideal", {}).items():
        for kind, c in kinds.items():
            unit = UNITS.get(kind, "")
            ours, ideal, told = (_size(c[name], unit) for name in ("ours", "smallest", "beyond_limit"))
            times = "-" if c["times"] is None else f"{c['times']:.2f}"
            lines.append(f"ideal, {world}, {kind}: from {ideal}, beyond its limit from {told}; ours from {ours}, {times} times")
    again = result.get("repeated_looks")
    if again and again["days"]:
        low, high = again["share_95"]
        found = f"an alarm on {again['days_with_alarm']} of {again['days']} days, {again['looks']} looks"
        lines.append(
            f"clean days looked at every {again['every']} passes: {found} (95 %: {100 * low:.1f} to {100 * high:.1f} %) {again['named']}"
        )
    return "\n".join(lines)


def _line(kind: str, c: dict[str, Any]) -> str:
    def share(value: float | None, band: Sequence[float] | None = None) -> str:
        if value is None:
            return "-"
        return f"{100 * value:.0f} %" + (f" ({100 * band[0]:.0f} to {100 * band[1]:.0f})" if band else "")

    size = "-" if c["found_nine_in_ten"] is None else f"{c['found_nine_in_ten']:.3g}"
    ends = ", ".join(f"{s} {n}" for s, n in c["scores"].items() if n)
    waits = "-" if c["passes_to_detection"] is None else str(c["passes_to_detection"])
    return (
        f"{kind:17}{c['n']:>4}{share(c['right'], c['right_95']):>20}{share(c['wrong'], c['wrong_95']):>18}{size:>14}{waits:>8}"
        f"{share(c['start_within']):>10}{share(c['size_within_95']):>12}{share(c['size_bias']):>8}{share(c['says_blind']):>12}   {ends}"
    )


def write_page(result: dict[str, Any], page: Path) -> None:
    """The table into a page, between the marks `MARKS`."""
    text = page.read_text(encoding="utf-8")
    before, rest = text.split(MARKS[0], 1)
    _, after = rest.split(MARKS[1], 1)
    page.write_text(f"{before}{MARKS[0]}\n{markdown(result)}\n{MARKS[1]}{after}", encoding="utf-8")


def markdown(result: dict[str, Any]) -> str:
    """The tables as they stand in the docs."""
    nominal, rough, hostile = (result["cells"][w] for w in ("nominal", "rough", "hostile"))
    each, few, worst = ([c["n"] for c in cells.values()] for cells in (nominal, rough, hostile))
    cells = f"nominal {_count(each)}, rough {_count(few)}, hostile {_count(worst)}"
    lines = [
        f"`{result['command']}`, {result['date']}. {result.get('minutes', 0):.0f} min. Days a cell: {cells}. Wilson 95 % intervals.",
        "",
        "| " + " | ".join(HEADS) + " |",
        "|---" * len(HEADS) + "|",
    ]
    for kind in (*nominal, "all"):
        three = tuple(cells[kind] for cells in (nominal, rough, hostile)) if kind != "all" else tuple(result["headline"].values())
        lines.append("| " + " | ".join(_row(kind, *three)) + " |")
    lines += ["", *ideal_lines(result.get("ideal", {})), "", *mixed_lines(result.get("confusion", {})), "", *blind_lines(), ""]
    for world, f in result["false_alarms"].items():
        by = f": {', '.join(f'{d} {n}' for d, n in f['by_detector'].items())}" if f["by_detector"] else ""
        lines.append(f"- Clean days, {world}: an alarm on {f['alarms']} of {f['days']} (95 %: {_span(f['share_95'], 2)} %){by}.")
    again = result["repeated_looks"]
    found = f"an alarm on {again['days_with_alarm']} of {again['days']} days in {again['looks']} looks"
    lines.append(f"- Clean days looked at again every {again['every']} passes: {found} (95 %: {_span(again['share_95'], 1)} %).")
    blind = [c["says_blind"] for c in nominal.values() if c["says_blind"] is not None]
    if blind:
        lines.append(
            f"- Without its columns a detector says it cannot be seen, and names nobody: {_share(sum(blind) / len(blind))} of days."
        )
    return "\n".join(lines)


def ideal_lines(ideal: dict[str, Any]) -> list[str]:
    """What an ideal test finds nine times in ten, what ours does, and how many times that is."""
    lines = [
        "Against an ideal test that knows the day's truth but for the fault, at its share of the same budget "
        "(`benchmarks/trail_ideal.py`); *beyond the limit*: the same, where a detector speaks only of what is worth it. "
        "The bar is 1.5 times. *No fit*: nearly all, or nearly none, of the sizes drawn were found.",
        "",
        "| fault | world | sd on clean days | ideal, nine in ten from | beyond the limit from | ours from | times |",
        "|---|---|---|---|---|---|---|",
    ]
    for world, kinds in ideal.items():
        for kind, c in kinds.items():
            unit = UNITS.get(kind, "")
            sizes = (_size(c[name], unit) for name in ("sd", "smallest", "beyond_limit", "ours"))
            times = "" if c["times"] is None else f"{c['times']:.1f}"
            lines.append("| " + " | ".join((kind, world, *sizes, times)) + " |")
    return lines


def _size(value: float | None, unit: str) -> str:
    if value is None:
        return "no fit"
    if unit.startswith("(share"):
        return f"{100 * value:.2g} %"
    return f"{value:.0f} {unit}" if abs(value) >= 10 else f"{value:.2g} {unit}"


def mixed_lines(confusion: dict[str, dict[str, dict[str, int]]]) -> list[str]:
    """The confusion matrix: which detectors spoke on the days of each fault, all worlds together."""
    total: dict[str, dict[str, int]] = {}
    for rows in confusion.values():
        for kind, row in rows.items():
            for name, n in row.items():
                mine = total.setdefault(kind, {})
                mine[name] = mine.get(name, 0) + n
    lines = ["Which detectors spoke on the days of each fault, all worlds together (hostile days have a second fault of another kind):", ""]
    lines += ["| fault | spoke on so many days |", "|---|---|"]
    for kind, row in total.items():
        told = ", ".join(f"{name} {n}" for name, n in sorted(row.items(), key=lambda kv: -kv[1]))
        lines.append(f"| {kind} | {told} |")
    return lines


def blind_lines() -> list[str]:
    """What cannot be seen without each column."""
    from evenstand.trail.detecting import DETECTORS

    gone: dict[str, list[str]] = {}
    for detector in DETECTORS:
        for group in detector.needs:
            gone.setdefault(" and no ".join(group), []).append(detector.kind)
    lines = ["What cannot be seen from a log that lacks a column, and is said so:", "", "| a log with no | cannot show |", "|---|---|"]
    lines += [f"| {column} | {', '.join(kinds)} |" for column, kinds in gone.items()]
    return lines


def _row(kind: str, nominal: dict[str, Any], rough: dict[str, Any], hostile: dict[str, Any]) -> tuple[str, ...]:
    least = nominal["found_nine_in_ten"] if kind != "all" else None
    return (
        kind,
        _band(nominal, "right"),
        _band(nominal, "wrong"),
        "" if least is None else f"{least:.2g} {UNITS.get(kind, '')}".strip(),
        str(nominal["passes_to_detection"] or ""),
        _share(nominal["start_within"]),
        _share(nominal["size_within_95"]),
        _band(rough, "right"),
        _band(hostile, "right"),
        _share(hostile["wrong"]),
    )


def _count(numbers: Sequence[int]) -> str:
    return f"{min(numbers)}" if min(numbers) == max(numbers) else f"{min(numbers)} to {max(numbers)}"


def _share(value: float | None) -> str:
    return "" if value is None else f"{100 * value:.0f} %"


def _span(band: Sequence[float], decimals: int = 0) -> str:
    return f"{100 * band[0]:.{decimals}f} to {100 * band[1]:.{decimals}f}"


def _band(c: dict[str, Any], key: str) -> str:
    return f"{_share(c[key])} ({_span(c[f'{key}_95'])})" if c["n"] else ""
