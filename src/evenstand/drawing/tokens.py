"""Colour, type and space, defined once: page, pocket page, pictures and paper all read them here.

Ink on paper white with one accent, a plum. Nothing is told by colour alone: an exception is hatched, a state is a word.
Contrast on `paper` is stated beside each ink (WCAG ratio, held by a test).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Role = Literal[
    "boundary", "hole", "obstacle", "headland", "pass", "pass-marked", "turn", "stop", "entry", "fill-point", "hazard", "north", "scale",
    "exception", "exception-light", "strip", "unknown",
    "run-open", "run-shut", "hose", "hose-second", "head", "head-second", "opener", "sensor", "tool", "seat",
    "frame", "label", "label-strong", "label-quiet", "label-reversed",
]  # fmt: skip

COLOURS: dict[str, str] = {
    "paper": "#fcfbf8",
    "paper-deep": "#f1eeea",
    "ink": "#1b2430",  # 15 : 1
    "ink-soft": "#4a5563",  # 7 : 1
    "rule": "#c3c7cd",
    "rule-strong": "#7b8591",  # 3.6 : 1, edges of controls
    "accent": "#6d2360",  # 10 : 1
    "accent-deep": "#4c1543",  # 13 : 1
    "accent-wash": "#f4e9f1",
    "mark": "#f6e3ae",  # behind ink only
    "attention": "#7a4b00",  # 7 : 1
}

FONT_FAMILY = "Atkinson Hyperlegible Next"
FONT_STACK = f'"{FONT_FAMILY}", "Atkinson Hyperlegible", Verdana, "DejaVu Sans", sans-serif'
FONT_FILES = {"regular": "AtkinsonHyperlegibleNext-Regular.ttf", "bold": "AtkinsonHyperlegibleNext-Bold.ttf"}

TEXT_REM = {"small": 0.9375, "body": 1.0625, "lead": 1.25, "key": 1.625, "title": 2.0, "answer": 2.5}
SPACE_REM = {"1": 0.25, "2": 0.5, "3": 0.75, "4": 1.0, "5": 1.5, "6": 2.25, "7": 3.5}
TEXT_PT = {"body": 11.5, "lead": 13.5, "key": 18.0, "title": 24.0}
TOUCH_REM = 3.25
MEASURE_REM = 44.0
LINE_REM = {"hair": 0.0625, "rule": 0.125, "heavy": 0.25}


@dataclass(frozen=True, slots=True, kw_only=True)
class RoleStyle:
    """How a role is drawn. stroke and fill: a key of `COLOURS`, a pattern of `PATTERNS`, or "none"; width and dash in drawing units."""

    stroke: str = "none"
    width: float = 0.0
    fill: str = "none"
    dash: tuple[float, ...] = ()
    size: float = 0.0
    bold: bool = False


PATTERNS: dict[str, tuple[float, float, float]] = {  # spacing, line width [drawing units], angle [deg]
    "hatch": (7.0, 1.6, 45.0),
    "hatch-wide": (11.0, 1.1, 45.0),
    "hatch-back": (7.0, 1.2, 135.0),
}

ROLE_STYLES: dict[Role, RoleStyle] = {
    "boundary": RoleStyle(stroke="ink", width=2.6, fill="paper"),
    "hole": RoleStyle(stroke="ink", width=1.6, fill="hatch-wide"),
    "obstacle": RoleStyle(stroke="ink", width=1.6, fill="hatch-back"),
    "headland": RoleStyle(stroke="ink-soft", width=1.1, dash=(7, 4)),
    "pass": RoleStyle(stroke="ink-soft", width=0.9),
    "pass-marked": RoleStyle(stroke="ink", width=1.8),
    "turn": RoleStyle(stroke="rule-strong", width=0.6, dash=(2, 3)),
    "stop": RoleStyle(stroke="ink", width=1.6, fill="ink"),
    "entry": RoleStyle(stroke="ink", width=3.0, fill="paper"),
    "fill-point": RoleStyle(stroke="ink", width=2.2, fill="paper"),
    "hazard": RoleStyle(stroke="ink", width=2.2, fill="mark"),
    "north": RoleStyle(stroke="ink", width=1.6, fill="ink"),
    "scale": RoleStyle(stroke="ink", width=2.0),
    "exception": RoleStyle(stroke="ink", width=1.2, fill="hatch"),
    "exception-light": RoleStyle(stroke="ink-soft", width=1.0, fill="hatch-wide"),
    "strip": RoleStyle(stroke="ink", width=1.6),
    "unknown": RoleStyle(stroke="ink-soft", width=1.6, dash=(1, 5)),
    "run-open": RoleStyle(stroke="ink", width=1.6, fill="paper"),
    "run-shut": RoleStyle(stroke="ink", width=1.6, fill="hatch"),
    "hose": RoleStyle(stroke="ink-soft", width=1.2),
    "hose-second": RoleStyle(stroke="ink-soft", width=1.2, dash=(6, 4)),
    "head": RoleStyle(stroke="ink", width=2.2, fill="paper-deep"),
    "head-second": RoleStyle(stroke="ink", width=2.2, fill="paper-deep", dash=(6, 4)),
    "opener": RoleStyle(stroke="ink", width=1.2, fill="ink"),
    "sensor": RoleStyle(stroke="ink", width=1.2, fill="accent-wash"),
    "tool": RoleStyle(stroke="rule-strong", width=1.2),
    "seat": RoleStyle(stroke="ink", width=1.6, fill="paper"),
    "frame": RoleStyle(stroke="rule", width=1.0),
    "label": RoleStyle(fill="ink", size=15.5),
    "label-strong": RoleStyle(fill="ink", size=17.0, bold=True),
    "label-quiet": RoleStyle(fill="ink-soft", size=15.5),
    "label-reversed": RoleStyle(fill="paper", size=15.5, bold=True),
}

# Paper is printed in black: soft inks become greys dark enough for a worn cartridge, washes become white.
PAPER_COLOURS: dict[str, str] = {
    "paper": "#ffffff", "paper-deep": "#ffffff", "ink": "#000000", "ink-soft": "#333333", "rule": "#8a8a8a", "rule-strong": "#555555",
    "accent": "#000000", "accent-deep": "#000000", "accent-wash": "#ffffff", "mark": "#ffffff", "attention": "#000000",
}  # fmt: skip


def custom_properties() -> str:
    """The tokens as declarations of CSS custom properties, one a line, for a `:root` rule. [CSS]"""
    lines = [f"--{name}: {value};" for name, value in COLOURS.items()]
    lines += [f"--font: {FONT_STACK};"]
    lines += [f"--text-{name}: {value}rem;" for name, value in TEXT_REM.items()]
    lines += [f"--space-{name}: {value}rem;" for name, value in SPACE_REM.items()]
    lines += [f"--line-{name}: {value}rem;" for name, value in LINE_REM.items()]
    lines += [f"--touch: {TOUCH_REM}rem;", f"--measure: {MEASURE_REM}rem;"]
    return "\n".join(lines)


def font_faces(address: str) -> str:
    """`@font-face` rules for the shipped face. address: prefix of the font files, ending in a slash. [CSS]"""
    rule = '@font-face { font-family: "%s"; font-weight: %d; font-display: swap; src: url("%s%s") format("truetype"); }'
    return "\n".join(rule % (FONT_FAMILY, weight, address, FONT_FILES[name]) for name, weight in (("regular", 400), ("bold", 700)))


def role_rules() -> str:
    """The CSS classes of all roles, as the page pictures use them (`.r-pass { ... }`). [CSS]"""
    rules = ["svg.drawing { font-family: var(--font); font-variant-numeric: tabular-nums; }"]
    for role, style in ROLE_STYLES.items():
        parts = [f"fill: {_page_paint(style.fill)}"]
        if style.size:
            parts.append(f"font-size: {style.size:g}px")
            if style.bold:
                parts.append("font-weight: 700")
        else:
            parts += [f"stroke: {_page_paint(style.stroke)}", f"stroke-width: {style.width:g}"]
            if style.dash:
                parts.append("stroke-dasharray: " + " ".join(f"{d:g}" for d in style.dash))
        rules.append(f".r-{role} {{ {'; '.join(parts)} }}")
    rules.append(".r-unfilled { fill: none }")  # last, so that it wins over the fill of a role
    return "\n".join(rules)


def _page_paint(name: str) -> str:
    if name in PATTERNS:
        return f"url(#{name})"
    return name if name == "none" else f"var(--{name})"
