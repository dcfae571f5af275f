"""`evenstand blend` as a person types it: answers by hand, files, units, and input that cannot be."""

from __future__ import annotations

import json
import subprocess
import sys

import pytest

TWO = ("--product", "urea=600/t", "--product", "map=800/t")


def run(*arguments, cwd=None):
    return subprocess.run(
        [sys.executable, "-m", "evenstand", "blend", *map(str, arguments)],
        capture_output=True,
        text=True,
        timeout=120,
        cwd=cwd,
        stdin=subprocess.DEVNULL,
    )


def answer(*arguments, code=0):
    ran = run(*arguments, "--json")
    assert ran.returncode == code, ran.stderr
    return json.loads(ran.stdout)


def test_the_cheapest_blend_by_hand_with_what_binds_and_the_next():
    ran = run("--need", "N=80", "--need", "P2O5=30", *TWO, "--max-products", "2")
    assert ran.returncode == 0, ran.stderr
    text = ran.stdout
    for part in ("142.22/ha", "57.7 kg/ha", "160 kg/ha", "the last kg costs 1.304", "Next best", "+439.59/ha", "Proven"):
        assert part in text, part  # 160.117 x 0.6 + 57.692 x 0.8 = 142.22; 0.6 / 0.46; 80 / 0.11 x 0.8 - 142.22
    assert "The label comes first" in text and "International Fertilizer Association" in text


def test_units_go_in_and_come_out():
    """71.4 lb/ac N is 80 kg/ha; 0.2722 a pound is 600 a tonne."""
    metric = answer("--need", "N=80 kg/ha", "--product", "urea=600/t", "--max-products", "1")
    us = answer("--need", "N=71.3743", "--product", "urea=0.27215542", "--max-products", "1", "--units", "us")
    assert us["blend"]["rates_kg_ha"]["urea"] == pytest.approx(metric["blend"]["rates_kg_ha"]["urea"], rel=1e-5)
    assert us["blend"]["cost_ha"] == pytest.approx(metric["blend"]["cost_ha"], rel=1e-5)
    text = run("--need", "N=71.3743", "--product", "urea=0.27215542", "--max-products", "1", "--units", "us").stdout
    assert "155 lb/ac" in text and "/ac" in text and "kg" not in text.split("Notes")[0]


def test_without_prices_it_is_the_least_mass_and_it_says_so():
    ran = run("--need", "N=80", "--product", "urea", "--product", "ammonium-sulphate", "--max-products", "1")
    assert "least mass" in ran.stdout and "No price is typed" in ran.stdout
    assert answer("--need", "N=80", "--product", "urea", "--max-products", "1")["blend"]["objective"] == "mass"


def test_what_conflicts_is_told_and_the_exit_code_is_1():
    ran = run("--need", "N=80", "--need", "P2O5=30", *TWO, "--max-products", "1", "--limit", "mass at most 700")
    assert ran.returncode == 1
    assert "No blend keeps all limits." in ran.stdout and "without any one of them there is a blend" in ran.stdout
    found = answer("--need", "N=80", "--need", "P2O5=30", *TWO, "--max-products", "1", "--limit", "mass at most 700", code=1)
    assert found["blend"] is None and not found["feasible"]
    assert {e["kind"] for e in found["conflict"]} == {"need", "limit", "max_products"}


def test_a_given_blend_is_judged():
    both = ("--given", "urea=150@side-band", "--given", "map=50@seed-row", *TWO, "--limit", "seed-row N <= 5")
    ran = run(*both)
    assert ran.returncode == 1
    assert "0.500 kg/ha over" in ran.stdout and "130.00/ha" in ran.stdout  # 150 x 0.6 + 50 x 0.8
    assert run(*both[:-1], "seed-row N <= 6").returncode == 0


def test_stock_as_a_mass_over_the_area_and_totals():
    found = answer("--need", "N=80", "--product", "urea=600/t; stock 6.2 t", "--area", "62 ha", "--max-products", "1")
    assert found["blend"]["stock_kg_ha"] == {"urea": pytest.approx(100)}
    text = run("--need", "N=80", "--product", "urea=600/t; stock 6.2 t", "--area", "62 ha", "--max-products", "1").stdout
    assert "100 kg/ha from the yard" in text and "10.78 t" in text


def test_a_guideline_limits_the_seed_row_and_is_named():
    """Cereals on medium soil, 1 inch on 9 inches: 15 lb N an acre are 16.8 kg/ha."""
    row = ("--guideline", "manitoba", "--crop", "wheat", "--texture", "medium", "--spread", "1 in", "--spacing", "9 in")
    found = answer("--need", "N=20", "--product", "urea=600/t; into seed-row", "--max-products", "1", *row, code=1)
    limit = next(e for e in found["conflict"] if e["kind"] == "limit")
    assert limit["value"] == pytest.approx(15 * 0.45359237 / 0.40468564224, rel=1e-6) and "Manitoba" in limit["key"]
    banded = answer("--need", "N=20", "--product", "urea=600/t", "--max-products", "1", *row)
    assert set(banded["blend"]["placed_kg_ha"]["urea"]) == {"side-band"}
    assert any("16.8 kg/ha" in n for n in banded["notes"])


def test_a_table_and_a_toml_file_give_the_same(tmp_path):
    (tmp_path / "list.csv").write_text(
        "product;price;grade;stock;into\nurea;600/t;;;side-band\nstarter;800/t;11-52-0;5 kg/ha;seed-row+side-band\n;;;;\n"
    )
    (tmp_path / "list.toml").write_text(
        '[product.urea]\nprice = "600/t"\ninto = ["side-band"]\n[product.starter]\nprice = "800/t"\nstock = "5 kg/ha"\n'
        'into = ["seed-row", "side-band"]\nanalysis = { N = "11 %", P2O5 = "52 %" }\n'
    )
    asks = ("--need", "N=80, P2O5=30", "--max-products", "2")
    one, other = (answer(*asks, "--products", tmp_path / name) for name in ("list.csv", "list.toml"))
    assert one["blend"] == other["blend"]
    assert one["blend"]["stock_kg_ha"] == {"starter": 5.0}


def test_one_product_more_is_worth_so_much():
    found = answer("--need", "N=80,P2O5=30", *TWO, "--product", "tsp=700/t", "--max-products", "1")
    best = answer("--need", "N=80,P2O5=30", *TWO, "--product", "tsp=700/t", "--max-products", "2")
    assert found["one_more"] == pytest.approx(found["blend"]["cost_ha"] - best["blend"]["cost_ha"])


def test_ammonia_brings_its_caution_and_liquids_their_litres():
    found = answer(
        "--need", "N=80", "--product", "ammonia=900/t", "--product", "uan=300/t; N 28 %; liquid 1.28 kg/L", "--max-products", "1"
    )
    assert any("Anhydrous ammonia" in n for n in found["notes"])
    text = run("--given", "uan=100", "--product", "uan; N 28 %; liquid 1.28 kg/L").stdout
    assert "78.1 L/ha" in text  # 100 / 1.28


BAD = [
    ((), ("--product", "--need")),
    (("--need", "N=80"), ("no product is named",)),
    (("--product", "urea=600/t", "--max-products", "1"), ("no need is named",)),
    (("--need", "N=80", "--product", "urea=600/t"), ("--max-products",)),
    (("--need", "N=80", "--product", "urea=-600/t", "--max-products", "1"), ("price", "below 0")),
    (("--need", "N=80", "--product", "urea=600 kg", "--max-products", "1"), ("price", "no unit")),
    (("--need", "N=80 t", "--product", "urea=600/t", "--max-products", "1"), ("--need N", "no unit")),
    (("--need", "N=-80", "--product", "urea=600/t", "--max-products", "1"), ("--need N", "below 0")),
    (("--need", "N=90-80", "--product", "urea=600/t", "--max-products", "1"), ("falls",)),
    (("--need", "Q=80", "--product", "urea=600/t", "--max-products", "1"), ("'Q'", "P2O5")),
    (("--need", "N", "--product", "urea=600/t", "--max-products", "1"), ("no =",)),
    (("--need", "N=80", "--need", "n=70", "--product", "urea=600/t", "--max-products", "1"), ("twice",)),
    (("--need", "N=80", "--product", "magic=600/t", "--max-products", "1"), ("magic", "grade")),
    (("--need", "N=80", "--product", "urea=600/t", "--product", "urea=610/t", "--max-products", "1"), ("twice",)),
    (("--need", "N=80", "--product", "mix=600/t; N 120 %", "--max-products", "1"), ("N", "100 %")),
    (("--need", "N=80", "--product", "mix=600/t; N 0.46", "--max-products", "1"), ("two ways",)),
    (("--need", "N=80", "--product", "mix 60-60-0=600/t", "--max-products", "1"), ("120 %",)),
    (("--need", "N=80", "--product", "mix=600/t; P 20 %", "--max-products", "1"), ("P2O5",)),
    (("--need", "N=80", "--product", "mix=600/t; magic 20 %", "--max-products", "1"), ("magic",)),
    (("--need", "N=80", "--product", "uan=300/t", "--max-products", "1"), ("28 to 32 %",)),
    (("--need", "N=80", "--product", "urea=600/t; into roof", "--max-products", "1"), ("roof", "seed-row")),
    (("--need", "N=80", "--product", "urea=600/t; stock -4 kg/ha", "--max-products", "1"), ("stock", "below 0")),
    (("--need", "N=80", "--product", "urea=600/t; stock 4 t", "--max-products", "1"), ("--area",)),
    (("--need", "N=80", "--product", "urea=600/t", "--area", "0", "--max-products", "1"), ("--area",)),
    (("--need", "N=80", "--product", "urea=600/t", "--max-products", "0"), ("--max-products",)),
    (("--need", "N=80", "--product", "urea=600/t", "--max-products", "-3"), ("--max-products",)),
    (("--need", "N=80", "--product", "urea=600/t", "--product", "map", "--max-products", "1"), ("no price of map",)),
    (("--need", "N=80", "--product", "ammonia=900/t; into seed-row", "--max-products", "1"), ("ammonia", "seed row")),
    (("--need", "N=80", "--product", "urea=600/t", "--bin", "A"), ("--bin", "placement")),
    (("--need", "N=80", "--product", "urea=600/t", "--max-products", "1", "--limit", "seed-row N 15"), ("--limit", "at most")),
    (("--need", "N=80", "--product", "urea=600/t", "--max-products", "1", "--limit", "seed-row gold <= 15"), ("gold",)),
    (("--need", "N=80", "--product", "urea=600/t", "--max-products", "1", "--guideline", "manitoba"), ("--crop", "--sbu")),
    (("--need", "N=80", "--product", "urea=600/t", "--max-products", "1", "--guideline", "x", "--crop", "wheat", "--sbu", "17%"), ("'x'",)),
    ((*TWO, "--need", "N=80", "--max-products", "1", "--guideline", "manitoba", "--crop", "wheat", "--sbu", "17%"), ("--texture", "medium")),
    (("--given", "gold=5", "--product", "urea"), ("gold",)),
    (("--given", "urea=5@roof", "--product", "urea"), ("roof",)),
    (("--given", "urea=-5", "--product", "urea"), ("below 0",)),
    (("--need", "N=80", "--product", "=600/t", "--max-products", "1"), ("no name",)),
    (("--need", "N=80", *[a for i in range(61) for a in ("--product", f"mix {i} 20-10-0=600/t")], "--max-products", "2"), ("50 at most",)),
]  # fmt: skip


@pytest.mark.parametrize(("arguments", "says"), BAD, ids=lambda a: " ".join(a)[:50] if isinstance(a, tuple) else "")
def test_input_that_cannot_be_is_told_by_its_name(arguments, says):
    ran = run(*arguments)
    assert (ran.returncode, ran.stdout) == (2, ""), ran.stdout
    assert "Traceback" not in ran.stderr
    for part in says:
        assert part in ran.stderr, ran.stderr


FILES = [
    ("empty.csv", b"", ("is empty",)),
    ("blank.csv", b"\n\n  \n", ("is empty",)),
    ("heading.csv", b"product,price\n", ("no product",)),
    ("none.csv", b"name,price\nurea,600/t\n", ("no heading 'product'",)),
    ("twice.csv", b"product,price,price\nurea,600/t,610/t\n", ("price stands there twice",)),
    ("long.csv", b"product,price\nurea,600/t,side,x\n", ("row 2", "4 cells")),
    ("bad.csv", b"product,price,N\nurea,-600/t,46 %\nmix,600/t,146 %\n,5/t,\n", ("row 2", "row 3", "row 4", "no name")),
    ("latin.csv", "product,price\nphosphat f\xfcr,600/t\n".encode("latin-1"), ("UTF-8",)),
    ("bad.toml", b"[product.urea\nprice=1", ("no TOML",)),
    ("other.toml", b"[lot.urea]\nprice='1'", ("[product.NAME]",)),
    ("huge.csv", b"product,price\n" + b"urea,600/t\n" * 250_000, ("MB",)),
    ("many.csv", b"product,price\n" + b"urea,600/t\n" * 6_000, ("6000 rows",)),
]  # fmt: skip


@pytest.mark.parametrize(("name", "content", "says"), FILES, ids=[f[0] for f in FILES])
def test_a_file_that_is_no_list_is_told(tmp_path, name, content, says):
    (tmp_path / name).write_bytes(content)
    ran = run("--need", "N=80", "--max-products", "1", "--products", name, cwd=tmp_path)
    assert ran.returncode == 2 and "Traceback" not in ran.stderr
    for part in says:
        assert part in ran.stderr, ran.stderr


def test_a_missing_file_and_a_folder(tmp_path):
    for name in ("gone.csv", "."):
        ran = run("--need", "N=80", "--max-products", "1", "--products", name, cwd=tmp_path)
        assert ran.returncode == 2 and "Traceback" not in ran.stderr and name in ran.stderr


def test_an_error_beside_json_is_json():
    ran = run("--need", "N=-80", "--product", "urea=600/t", "--max-products", "1", "--json")
    assert ran.returncode == 2
    assert json.loads(ran.stdout)["faults"][0]["where"] == "--need N"
