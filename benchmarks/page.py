"""The measured tables of the bench of faults as a part of a page, between two markers: nobody copies a figure by hand."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

BEGIN, END = "<!-- measured by benchmarks.faults: begin -->", "<!-- measured by benchmarks.faults: end -->"
Table = Mapping[str, Any]


def write_page(result: Table, path: Path) -> None:
    """Put the tables between the markers of a page; without markers they go to its end."""
    text = path.read_text(encoding="utf-8") if path.exists() else ""
    block = f"{BEGIN}\n\n{page_of(result)}\n\n{END}"
    if BEGIN in text and END in text:
        before, _, rest = text.partition(BEGIN)
        text = before + block + rest.partition(END)[2]
    else:
        text = f"{text.rstrip()}\n\n{block}\n"
    path.write_text(text, encoding="utf-8")


def page_of(result: Table) -> str:
    """All tables as text. [-]"""
    made = ", ".join(f"`--{k} {v}`" for k, v in result["days"].items())
    parts = {
        "False alarms on clean days": _alarms(result),
        "Days in the field": f"{_field(result)}\n\n{_field_confusion(result)}",
        "Smallest size found nine times in ten, beside the ideal test": "\n\n".join(
            (_power(result), _unseen(result), _sizes(result), _plain_confusion(result))
        ),
        "Time to detection": _watched(result),
        "Intervals over seasons": _seasons(result),
        "Two faults on one day": _pairs(result),
        "A world that breaks the rules": _hostile(result),
        "The 28-stream network, measured": _streams(result),
    }
    made = f"Made by `python -m benchmarks.faults --seed {result['seed']}` with {made} on {result['date']}."
    lines = [f"{made} Wilson 95 % intervals in brackets."]
    return "\n\n".join([*lines, *(f"### {title}\n\n{text}" for title, text in parts.items() if text)])


def table(head: Sequence[str], rows: Sequence[Sequence[Any]]) -> str:
    """A table in the page's own marks. [-]"""
    lines = ["| " + " | ".join(head) + " |", "|" + "---|" * len(head)]
    return "\n".join(lines + ["| " + " | ".join(str(c) for c in row) + " |" for row in rows])


def share(value: float | None, band: Sequence[float] | None = None, digits: int = 0) -> str:
    """A share in per cent with its interval. [-]"""
    if value is None:
        return "-"
    return f"{100 * value:.{digits}f} %" + ("" if band is None else f" ({100 * band[0]:.{digits}f} to {100 * band[1]:.{digits}f})")


def _alarms(result: Table) -> str:
    rows = [
        (
            f"field, {w}",
            f["days"],
            f["alarms"],
            share(f["alarms"] / f["days"] if f["days"] else None, f["share_95"], 2),
            ", ".join(f["named"]),
        )
        for w, f in result["false_alarms"].items()
    ]
    for w, q in result["quiet_plain"].items():
        n, k = q["well_days"], q["well_alarms"]
        band = _wilson(k, n)
        name = f"readings alone, {w}" + (", nothing ill" if w == "hostile" else "")
        rows.append((f"{name}, every day", n, k, share(k / n if n else None, band, 2), "-"))
        n, k, m = q["clean_days"], q["clean_alarms"], q["off_days"]
        rows.append((f"{name}, clean", n, k, share(k / n if n else None, q["clean_95"], 2), "-"))
        if m:
            found, wrong = q["off_found"], q["off_wrong"]
            note = f"{found} name it, {wrong} name something else, {m - found - wrong} days are silent"
            rows.append((f"{name}, something really off", m, found + wrong, share((found + wrong) / m, _wilson(found + wrong, m), 0), note))
    said = (
        "*Field*: whole simulated days with a log. *Readings alone*: the second simulator. The bar is 12 of 2,000 in the nominal world "
        "and 3 in 100 in the rough one. A *clean* day is one on which nothing was really off by what is worth stopping for (3 % of a "
        "seed's meter, of distance or width, 5 % of a fertilizer's meter, 6 % of the fan's speed); *something really "
        "off*: the world itself made it so, and an alarm that names it is a fault found."
    )
    return said + "\n\n" + table(("days", "how many", "with an alarm", "share", "named"), rows)


def _wilson(k: int, n: int) -> tuple[float, float]:
    from benchmarks.scoring import wilson

    return wilson(k, n)


def _field(result: Table) -> str:
    sets = list(result["cells"])
    kinds = list(result["cells"][sets[0]])
    rows = []
    for k in kinds:
        usual, cells = result["cells"]["usual"][k], [result["cells"][s][k] for s in sets]
        rows.append(
            (
                k, " / ".join(share(c["told_share"]) for c in cells), share(usual["right_told"], usual["right_told_95"]),
                share(usual["wrong_told"], usual["wrong_told_95"]),
                " / ".join("-" if c["found_nine_in_ten"] is None else f"{100 * c['found_nine_in_ten']:.1f} %" for c in cells),
            )
        )  # fmt: skip
    lines = [
        table(
            ("fault", f"can be told: {' / '.join(sets)}", "right of those, usual", "wrong of those, usual", "found nine in ten from"), rows
        )
    ]
    for name, title in (
        ("headline", "All faults, *usual*"),
        ("headline_all_sets", "All sets together"),
        ("headline_rough", "Rough world, *usual*"),
    ):
        c = result[name]
        good = sum(c["scores_told"][s] for s in ("right alone", "right in class"))
        lines.append(
            f"{title}: {c['told']} of {c['n']} runs can be told; of those {good} right ({c['scores_told']['right alone']} alone), "
            f"{c['scores_told']['wrong']} wrong; {c['scores']['wrong']} wrong of all. "
            f"Stated 95 % intervals of size held {share(c['size_within_95'])}."
        )
    return "\n\n".join(lines)


def _confusion(counts: Mapping[str, Mapping[str, int]], title: str) -> str:
    heads = list(dict.fromkeys([*counts, *(k for row in counts.values() for k in row)]))
    rows = [(kind, *(row.get(h, "") for h in heads)) for kind, row in counts.items()]
    return f"{title}\n\n" + table(("fault", *heads), rows)


def _field_confusion(result: Table) -> str:
    return _confusion(result["confusion"], "What was named first, field days, all sets together:")


def _plain_confusion(result: Table) -> str:
    return _confusion(result["confusion_plain"], "What was named first, readings alone, all sets together:")


def _scaled(kind: str) -> tuple[str, float]:
    return ("kg", 1.0) if kind.startswith("fill") else ("%", 100.0)


def _power(result: Table) -> str:
    sets, kinds = list(result["power"]), list(dict.fromkeys(k for s in result["power"].values() for k in s))
    rows, over, held = [], [], 0
    for k in kinds:
        row = [k if not k.startswith("fill") else f"{k}, kg"]
        for s in sets:
            c = result["power"][s].get(k)
            row.append("-" if c is None else _cell(k, c))
            if c is not None and c["ratio"] is not None:
                held += c["ratio"] <= 1.5
                over += [f"{k} with *{s}* {c['ratio']:.2f}"] if c["ratio"] > 1.5 else []
        rows.append(row)
    said = "Ours / ideal and their ratio (95 % interval of ours over ideal); of fills in kilograms, else in per cent."
    said += " An ideal below the smallest size tried counts as that size."
    said += f" Cells with a ratio within 1.5: {held}; beyond: {', '.join(over) or 'none'}."
    return said + "\n\n" + table(("fault", *sets), rows)


def _cell(kind: str, c: Table) -> str:
    _, times = _scaled(kind)

    def size(value: float | None) -> str:
        return "-" if value is None else (f"{value * times:.0f}" if times == 1.0 else f"{value * times:.1f}")

    if c["ratio"] is None:
        return c["verdict"] if c["ideal"] is None or c["verdict"] == "no test could" else f"{c['verdict']} / {size(c['ideal'])}"
    low, high = (v / c["beside"] for v in c["ours_95"])
    mark = "**" if c["ratio"] > 1.5 else ""
    return f"{size(c['ours'])} / {size(c['ideal'])}: {mark}{c['ratio']:.2f}{mark} ({low:.2f} to {high:.2f})"


def _unseen(result: Table) -> str:
    rows = []
    for s, cells in result["power"].items():
        dark = [k for k, c in cells.items() if c["verdict"] == "no test could"]
        told = [f"{k} {share(c['told'] / c['n'])}" for k, c in cells.items() if c["verdict"] != "no test could"]
        rows.append((s, ", ".join(dark) or "-", ", ".join(told)))
    head = (
        "readings",
        "cannot be seen at any size tried, not even by the ideal test",
        "share of the days on which the ideal test can tell it",
    )
    return "What cannot be seen from what:\n\n" + table(head, rows)


def _sizes(result: Table) -> str:
    rows = []
    for k, c in result["sizes"].items():
        unit, times = _scaled(k)
        if c["n"]:
            rows.append((k, c["n"], f"{c['bias'] * times:+.2f} {unit}", f"{c['rms'] * times:.2f} {unit}", share(c["held"], c["held_95"])))
    return "Sizes of causes named first, against what the day really was:\n\n" + table(
        ("fault", "days", "bias", "root mean square", "95 % interval held"), rows
    )


def _watched(result: Table) -> str:
    rows = [
        (k, w["n"], w["median_looks"] or "not reached", f"{w['looks_a_day']:.1f}", f"{w['found']} of {w['n']}",
         w["wrong_at_some_look"])
        for k, w in result["watched"].items() if k != "clean"
    ]  # fmt: skip
    said = "Looks after every fill and in the evening; median by Kaplan and Meier, days without a name censored at their end."
    lines = [said, table(("fault", "days", "median, fills after it began", "looks a day", "named", "wrong at some look"), rows)]
    c = result["watched"].get("clean")
    if c:
        lines.append(
            f"Clean days: {c['alarms']} of {c['days']} with an alarm at any of {c['looks_a_day']:.1f} looks "
            f"({share(c['alarms_95'][0], None, 1)} to {share(c['alarms_95'][1], None, 1)}); "
            f"with the limit of a single look {c['alarms_plain_limit']}."
        )
    return "\n\n".join(lines)


def _seasons(result: Table) -> str:
    rows = []
    for w, t in result["seasons"].items():
        cells = [
            share(t[k]["share"], t[k]["share_95"], 1) + f", n {t[k]['n']}"
            for k in ("named", "named_learned", "given", "given_learned")
            if k in t
        ]
        rows.append((w, t["seasons"], *cells))
    heads = ("world", "seasons", "fault named alone", "the same, learned scales", "cause given", "cause given, learned scales")
    return "The bar is 93 to 97 of 100.\n\n" + table(heads, rows) if rows else ""


def _pairs(result: Table) -> str:
    rows = []
    for w, sets in result["pairs"].items():
        for s, parts in sets.items():
            t = parts["told"]
            if t["n"]:
                ends, band = t["scores"], f"{share(t['wrong_95'][0])} to {share(t['wrong_95'][1])}"
                both = (ends["both alone"], ends["both, in a class"], ends["one of two"])
                rows.append((w, s, parts["all"]["n"], t["n"], *both, ends["wrong"], ends["silent"] + ends["cannot tell"], band))
    heads = (
        "world",
        "readings",
        "days",
        "both can be told",
        "both alone",
        "both, in a class",
        "one of two",
        "wrong",
        "silent",
        "wrong, 95 %",
    )
    return table(heads, rows)


def _hostile(result: Table) -> str:
    q = result["quiet_plain"].get("hostile")
    if q is None:
        return ""
    rows = []
    for ill, row in sorted(q["ills"].items()):
        n = sum(row.values())
        ends = ", ".join(f"{k} {v}" for k, v in sorted(row.items(), key=lambda p: -p[1]))
        rows.append((ill, n, share((n - row.get("nothing", 0)) / n), share(q["rightly"].get(ill, 0) / n), ends))
    low, high = q["share_95"]
    said = (
        f"Days of readings alone on top of the rough world, each ill with a chance of one in four: {q['alarms']} of {q['days']} "
        f"with an alarm ({100 * low:.1f} to {100 * high:.1f} %). Below, the days with one ill alone. *As it is*: the cause, or what the "
        "masses must take it for, is among those accused; hours lost look like a short count, a lost "
        "reading and a clock that is off should accuse nobody."
    )
    return said + "\n\n" + table(("what was ill", "days", "an alarm", "as it is", "named first"), rows)


def _streams(result: Table) -> str:
    rows = [(r["errors"], r["method"], *(share(r[k]) for k in ("right", "in_set", "part", "wrong", "silent"))) for r in result["streams"]]
    cases = result["streams"][0]["cases"] if result["streams"] else 0
    said = f"{cases:,} cases a row, errors of 4 to 20 standard deviations."
    return said + "\n\n" + table(("errors", "method", "right", "in set", "part", "wrong", "silent"), rows)
