"""Loops and arrays find the same crossings; which of them is taken when; what compiled code must not take in."""

from __future__ import annotations

import ast
import dataclasses
import importlib.util
import pkgutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from benchmarks.covering import strips

from evenstand.base.errors import RangeError
from evenstand.trail import crossing_arrays, crossing_loops, crossings, piece_loops, pieces
from evenstand.trail.crossings import count_strips

FORMS = {"compiled": crossing_loops.FORM, "arrays": crossing_arrays.FORM}


def strip(left, right):
    return np.asarray(left, dtype=float), np.asarray(right, dtype=float)


def square(x0, y0, x1, y1):
    return [(x0, y0), (x1, y0), (x1, y1), (x0, y1), (x0, y0)]


@pytest.mark.parametrize("log", ["straight", "curved", "headland", "tangle"])
@pytest.mark.parametrize("bounded", [False, True], ids=["no outline", "an outline"])
def test_loops_and_arrays_find_the_same_crossings_and_the_same_ground(log, bounded, monkeypatch):
    """The same crossings one by one, bit for bit; only what adding up loses differs."""
    left, right, start = _tangle() if log == "tangle" else _log(log)
    low, high = left.min(axis=0), left.max(axis=0)
    rings = [np.asarray(square(*(low + 0.2 * (high - low)), *(low + 0.7 * (high - low))), dtype=float)] if bounded else []
    found, at = {}, {}
    for way, form in FORMS.items():
        monkeypatch.setattr(crossings, "_form", lambda *_, way=way, form=form: _watched(form, at, way))
        found[way] = count_strips(left, right, start, rings)
    assert found["arrays"].crossings == found["compiled"].crossings > 10
    for one, other in zip(at["arrays"], at["compiled"], strict=True):
        assert np.array_equal(one, other)
    for name in ("repeat_m2", "twice_m2", "skipped_m2", "bound_m2"):
        assert getattr(found["arrays"], name) == pytest.approx(getattr(found["compiled"], name), rel=1e-12, abs=1e-9)


def _watched(form, at, way):
    """A form that keeps the crossings it finds, in order, and the depths, the last time it is asked."""

    def crossings_of(lines, *grid):
        events, place = form.crossings(lines, *grid)
        order = np.lexsort((events[:, 1], place[:, 0], events[:, 0]))
        at[way] = [events[order], place[order]]
        return events, place

    def depths_of(lines, *more):
        depth = form.depths(lines, *more)
        at[way].append(depth)
        return depth

    return dataclasses.replace(form, crossings=crossings_of, depths=depths_of)


def _log(name):
    case = strips(20_000, 3, name)
    return case.left, case.right, case.start


def _tangle():
    """Long and short strips at all angles, a way that crosses itself, and strips on strips."""
    rng = np.random.default_rng(11)
    some = []
    for _ in range(25):
        begin, end = rng.uniform(0, 90, 2), rng.uniform(0, 90, 2)
        line = begin + np.linspace(0, 1, int(rng.integers(2, 40)))[:, None] * (end - begin)
        line[1:-1] += rng.normal(0, 0.01, line[1:-1].shape)
        off = np.array([-(end - begin)[1], (end - begin)[0]]) / np.hypot(*(end - begin)) * 3.0
        some += [strip(line + off, line - off)] * int(rng.integers(1, 3))
    angle = np.linspace(0, 5 * np.pi, 200)
    face = np.column_stack([np.cos(angle), np.sin(angle)])
    some.append(strip(45 + 20 * face, 45 + 26 * face))
    left, right = (np.concatenate([s[i] for s in some]) for i in (0, 1))
    return left, right, np.concatenate([[0], np.cumsum([s[0].shape[0] for s in some])]).astype(np.int64)


def test_lists_of_pairs_may_be_cut_anywhere(monkeypatch):
    """The same answer where only seven pairs are taken at a time."""
    left, right, start = _tangle()
    ring = [np.asarray(square(10, 10, 70, 60), dtype=float)]
    whole = count_strips(left, right, start, ring, way="arrays")
    monkeypatch.setattr(crossing_arrays, "AT_ONCE", 7)
    assert count_strips(left, right, start, ring, way="arrays") == whole


def test_a_short_log_loads_no_compiled_code_and_many_of_them_do():
    """The rule of the two ways, in a process of its own."""
    code = (
        "import sys, numpy as np\n"
        "from evenstand.trail import crossings\n"
        "y = np.arange(100.0); left = np.column_stack([0 * y, y]); right = left + [3.0, 0.0]\n"
        "ask = lambda: crossings.count_strips(left, right, np.array([0, 100]), [])\n"
        "ask(); assert 'numba' not in sys.modules\n"
        "crossings.REPAID_BY_NODES = 250\n"
        "ask(); assert 'numba' not in sys.modules\n"
        "ask(); assert 'numba' in sys.modules\n"
    )
    subprocess.run([sys.executable, "-c", code], check=True, timeout=120)


def test_a_way_that_is_none_is_refused():
    with pytest.raises(RangeError, match="no way to count"):
        count_strips(np.zeros((2, 2)), np.ones((2, 2)), np.array([0, 2]), [], way="guessing")


def test_no_compiled_loop_takes_in_anything_from_another_file():
    """Compiled code is kept by the file it comes from: what a loop took in from elsewhere would stay as it was after an update."""
    import evenstand

    seen = 0
    for module in pkgutil.walk_packages(evenstand.__path__, "evenstand."):
        path = importlib.util.find_spec(module.name).origin
        text = Path(path).read_text(encoding="utf-8") if path and path.endswith(".py") else ""
        if "compiled import jit" not in text:
            continue
        tree = ast.parse(text)
        taken = {a.asname or a.name for n in tree.body if isinstance(n, ast.ImportFrom) for a in n.names}
        taken |= {a.asname or a.name.split(".")[0] for n in tree.body if isinstance(n, ast.Import) for a in n.names}
        taken -= {"np", "math", "jit"}
        for node in tree.body:
            if isinstance(node, ast.FunctionDef) and any(getattr(d, "id", "") == "jit" for d in node.decorator_list):
                used = {n.id for n in ast.walk(node) if isinstance(n, ast.Name)}
                assert not used & taken, f"{module.name}.{node.name} takes in {sorted(used & taken)}"
                seen += 1
    assert seen > 20


def test_names_that_loops_keep_for_themselves_are_those_of_the_pieces():
    assert (piece_loops.SIDE, piece_loops.ACROSS, crossing_loops.SIDE) == (pieces.SIDE, pieces.ACROSS, pieces.SIDE)
