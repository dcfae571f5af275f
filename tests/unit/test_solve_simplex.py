"""The small simplex against SciPy's HiGHS, and the search over sets against every set."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
from scipy.optimize import linprog

from evenstand.base.errors import RangeError
from evenstand.solve.linear import solve_linear
from evenstand.solve.subsets import SetProblem, cheapest_sets, number_of_sets

STATES = {0: "optimal", 2: "impossible", 3: "endless"}


def drawn(seed: int):
    """Small whole numbers every other time: then vertices, costs and ratios tie all the time."""
    rng = np.random.default_rng([seed, 4])
    m, n = (int(v) for v in rng.integers(1, 10, 2))
    a = rng.integers(-3, 4, (m, n)).astype(float)
    b, c = rng.integers(-4, 6, m).astype(float), rng.integers(-2, 5, n).astype(float)
    if seed % 2:
        a += rng.normal(size=a.shape)
    if seed % 3 == 0 and m > 1:
        a[-1], b[-1] = a[0], b[0]  # a row twice
    if seed % 5 == 0 and m > 1:
        a[-1], b[-1] = -a[0], -b[0]  # an equality
    return c, a, b


def certified(answer, c, a, b):
    """The certificate, worked out from the input: rows kept, prices not negative, nothing priced below zero, both costs equal."""
    size = 1 + np.abs(a) @ answer.x + np.abs(b)
    assert (a @ answer.x - b <= 1e-8 * size).all() and (answer.x >= 0).all()
    assert (answer.multipliers >= -1e-9).all()
    assert (c + answer.multipliers @ a >= -1e-7 * (1 + np.abs(c))).all()
    assert c @ answer.x == pytest.approx(-answer.multipliers @ b, rel=1e-8, abs=1e-8)


def test_a_thousand_drawn_programs_end_as_highs_ends_them_with_a_certificate():
    seen = dict.fromkeys(STATES.values(), 0)
    for seed in range(1000):
        c, a, b = drawn(seed)
        found = linprog(c, A_ub=a, b_ub=b, method="highs-ds")
        answer = solve_linear(c, a, b)
        assert answer.state == STATES[found.status], seed
        seen[answer.state] += 1
        if answer.state == "optimal":
            assert answer.value == pytest.approx(found.fun, rel=1e-8, abs=1e-8), seed
            assert answer.residual < 1e-9
            certified(answer, c, a, b)
        elif answer.state == "impossible":  # weights of the rows whose sum no x >= 0 can keep
            y = answer.multipliers
            assert (y >= 0).all() and (y @ a >= -1e-9 * np.abs(y) @ np.abs(a)).all() and y @ b < 0
    assert min(seen.values()) > 150, seen


def test_compiled_and_plain_give_the_same():
    for seed in range(0, 200, 7):
        plain, fast = (solve_linear(*drawn(seed), compiled=way) for way in (False, True))
        assert plain.state == fast.state
        if plain.state == "optimal":
            assert plain.value == pytest.approx(fast.value, rel=1e-12, abs=1e-12)


def test_beales_cycling_example_ends():
    """E. Beale (1955): the largest-coefficient rule goes in circles here."""
    c = [-0.75, 150.0, -0.02, 6.0]
    a = [[0.25, -60.0, -0.04, 9.0], [0.5, -90.0, -0.02, 3.0], [0.0, 0.0, 1.0, 0.0]]
    answer = solve_linear(c, a, [0.0, 0.0, 1.0])
    assert answer.state == "optimal"
    assert answer.value == pytest.approx(-0.05, abs=1e-12)


@pytest.mark.parametrize("n", [4, 8, 10])
def test_a_klee_minty_cube_ends(n):
    """V. Klee, G. Minty (1972): exponentially many steps by the steepest rule; the value is 5**n."""
    a = np.array([[2.0 ** (i - j + 1) if j < i else float(i == j) for j in range(n)] for i in range(n)])
    c = -np.array([2.0 ** (n - j - 1) for j in range(n)])
    answer = solve_linear(c, a, [5.0 ** (i + 1) for i in range(n)])
    assert answer.value == pytest.approx(linprog(c, A_ub=a, b_ub=[5.0 ** (i + 1) for i in range(n)], method="highs-ds").fun, rel=1e-9)


def test_rows_of_very_different_size_are_kept_alike():
    c, a, b = [1.0, 1.0], [[-1e6, -1e6], [-1e-6, 0.0]], [-3e6, -1e-6]
    answer = solve_linear(c, a, b)
    assert answer.value == pytest.approx(3.0, rel=1e-12)
    assert answer.residual < 1e-12


def test_no_rows_and_no_columns():
    assert solve_linear([1.0], np.zeros((0, 1)), []).value == 0.0
    assert solve_linear([-1.0], np.zeros((0, 1)), []).state == "endless"
    assert solve_linear([], np.zeros((1, 0)), [-1.0]).state == "impossible"


@pytest.mark.parametrize(
    ("c", "a", "b"), [([1.0], [[1.0, 2.0]], [1.0]), ([np.nan], [[1.0]], [1.0]), ([1.0], [[1.0]], [np.inf]), ([1.0], [[1.0]], 1.0)]
)
def test_shapes_and_numbers_that_cannot_be_are_refused(c, a, b):
    with pytest.raises(RangeError):
        solve_linear(c, a, b)


# sets ----------------------------------------------------------------------------------------------------------------
def problem(seed: int, groups: int = 7) -> SetProblem:
    rng = np.random.default_rng([seed, 5])
    n = 2 * groups
    share = np.repeat(np.where(rng.random((groups, 3)) < 0.6, rng.integers(1, 9, (groups, 3)), 0.0), 2, axis=0).T
    rows = np.vstack([-share, share[:1] * np.tile([1.0, 0.0], groups)])
    return SetProblem(
        rows=rows,
        most=np.concatenate([-rng.integers(2, 30, 3).astype(float), [float(rng.integers(0, 9))]]),
        cost=np.repeat(rng.integers(1, 9, groups), 2).astype(float),
        second=np.ones(n),
        first=np.arange(0, n + 1, 2),
        cap=np.full(groups, np.inf),
        stock=np.full(groups, -1.0),
        extra=np.full(groups, -1.0),
        floor=np.zeros(n),
        counted=np.zeros((0, n), dtype=bool),
        places=np.zeros(0, dtype=np.int64),
    )


def every_set(p: SetProblem, most: int):
    """Value of each set by HiGHS; then those cheaper than each set of one less, cheapest first."""
    value = {(): np.inf}
    for size in range(1, most + 1):
        for members in combinations(range(p.groups), size):
            columns = [2 * k + q for k in members for q in (0, 1)]
            found = linprog(p.cost[columns], A_ub=p.rows[:, columns], b_ub=p.most, method="highs-ds")
            value[members] = float(found.fun) if found.status == 0 else np.inf
    earned = [
        s
        for s, v in value.items()
        if s and np.isfinite(v) and all(v < value[tuple(k for k in s if k != q)] - 1e-9 * max(abs(v), 1.0) for q in s)
    ]
    return sorted(earned, key=lambda s: (round(value[s], 8), len(s), s)), value


@pytest.mark.parametrize("seed", range(12))
def test_the_search_gives_the_sets_that_a_look_at_every_set_gives(seed):
    p = problem(seed)
    for most in (1, 2, 3, 7):
        listed, value = every_set(p, most)
        found = cheapest_sets(p, most_groups=most, keep=6, compiled=False)
        assert found.proven and found.within == number_of_sets(7, most)
        assert found.worked_out <= found.within
        assert list(found.values) == pytest.approx([value[s] for s in listed[:6]], rel=1e-9)
        assert (found.verified or not found.sets) and all(
            value[s] == pytest.approx(v, rel=1e-9) for s, v in zip(found.sets, found.values, strict=True)
        )
        # where values tie, size comes first, and the sets are the same ones apart from the order within a tie at the end
        assert [len(s) for s in found.sets] == [len(s) for s in listed[:6]]


def test_a_search_that_is_cut_short_says_so():
    p = problem(3, groups=12)
    whole = cheapest_sets(p, most_groups=4, compiled=False)
    assert whole.proven and whole.programs > 20
    short = cheapest_sets(p, most_groups=4, compiled=False, most_solved=whole.programs // 2)
    assert short.sets and not short.proven and short.bound == 0.0
    with pytest.raises(RangeError, match="no answer after"):
        cheapest_sets(p, most_groups=4, compiled=False, most_solved=1)


def test_forty_groups_are_searched_in_reasonable_work():
    p = problem(11, groups=40)
    found = cheapest_sets(p, most_groups=3, compiled=True)
    assert found.proven and found.within == 10_700
    assert found.programs < found.within
    listed = cheapest_sets(p, most_groups=40, compiled=True)  # no count left: the plain program
    free = linprog(p.cost, A_ub=p.rows, b_ub=p.most, method="highs-ds")
    assert listed.values[0] == pytest.approx(free.fun, rel=1e-9)
    assert listed.values[0] <= found.values[0] * (1 + 1e-12)


def test_no_groups_allowed_is_refused():
    with pytest.raises(RangeError, match="most_groups"):
        cheapest_sets(problem(0), most_groups=0)
