"""What drills are like: how many nobody could tell, how many end in a class, how many draws were thrown away.

    python -m benchmarks.drills                    print them
    python -m benchmarks.drills --docs docs/drills.md    and put them where docs/drills.md keeps them

Regression figures of our own simulator and check: run again whenever either changes.
"""

from __future__ import annotations

import argparse
from collections import Counter
from pathlib import Path

from evenstand.desk.demo_farm import demo_farm
from evenstand.desk.drill_outfits import drill_outfit
from evenstand.desk.drills import draw

FIRST, COUNT = 100, 100
BEGIN, END = "<!-- figures of drills: python -m benchmarks.drills --docs docs/drills.md -->", "<!-- end of figures -->"


def figures(first: int = FIRST, count: int = COUNT) -> dict[str, object]:
    """Counts over single drills and drills with two faults."""
    import random

    made: dict[str, object] = {}
    for faults in (1, 2):
        drawn = [draw(seed, faults=faults)[1] for seed in range(first, first + count)]
        slots = [slot for solution in drawn for slot in solution.slots]
        made[f"{faults} faults"] = {
            "faults": len(slots),
            "cannot be told": sum(not s.told for s in slots),
            "in a class": sum(s.told and len(s.accepted) > 1 for s in slots),
            "thrown away": sum(s.drawn - 1 for s in drawn),
        }
    farm = demo_farm()
    made["machines"] = dict(
        sorted(Counter(drill_outfit(farm, seed, random.Random(0)).kind for seed in range(first, first + count)).items())
    )
    return made


def sentence(made: dict[str, object], first: int = FIRST, count: int = COUNT) -> str:
    """The figures as they stand in the docs."""
    one, two, machines = made["1 faults"], made["2 faults"], made["machines"]
    assert isinstance(one, dict)
    assert isinstance(two, dict)
    assert isinstance(machines, dict)
    kinds = ", ".join(f"{n} {kind}" for kind, n in machines.items())

    def told(of: dict[str, int], what: str) -> str:
        return (
            f"of {of['faults']} {what}, {of['cannot be told']} cannot be told from their six readings and {of['in a class']} end in a "
            f"class of several causes; {of['thrown away']} draws were thrown away"
        )

    return (
        f"Of seeds {first} to {first + count - 1} ({kinds}): {told(one, 'single drills')}; {told(two, 'faults of drills with two')} "
        "(regression values of our own simulator and check)."
    )


def main() -> None:
    """Print, and write into the docs where asked."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--docs", type=Path, default=None)
    asked = parser.parse_args()
    text = sentence(figures())
    print(text)
    if asked.docs is not None:
        page = asked.docs.read_text(encoding="utf-8")
        before, rest = page.split(BEGIN)
        asked.docs.write_text(f"{before}{BEGIN}\n{text}\n{END}{rest.split(END)[1]}", encoding="utf-8")


if __name__ == "__main__":
    main()
