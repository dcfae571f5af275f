# Evenstand. `make` alone lists what there is. Needs Python 3.11 or newer, and make.
# Two commands do everything: `make demo` and `make test`.

PYTHON ?= python3
VENV   := .venv
PY     := $(VENV)/bin/python
OUT    ?= demo-out
SEED   ?= 7

export PIP_DISABLE_PIP_VERSION_CHECK = 1

.DEFAULT_GOAL := help
.PHONY: help demo serve check test bench bounds bench-faults stress docs clean

help: ## list the commands
	@grep -E '^[a-z-]+:.*##' Makefile | sed -E 's/^([a-z-]+):.*## (.*)/  make \1\t\2/' | expand -t 22

$(VENV)/.core: pyproject.toml
	@$(PYTHON) -c 'import sys; sys.exit(0 if sys.version_info >= (3, 11) else "Evenstand needs Python 3.11 or newer; give one with make PYTHON=python3.12")'
	$(PYTHON) -m venv $(VENV)
	$(PY) -m pip install --quiet --editable .
	@touch $@

$(VENV)/.dev: $(VENV)/.core pyproject.toml
	$(PY) -m pip install --quiet --editable '.[dev]'
	@touch $@

# axe-core looks at pages; without npm those tests say NOT RUN HERE
tests/js/node_modules/.done: tests/js/package-lock.json
	@if command -v npm >/dev/null 2>&1; then (cd tests/js && npm ci --ignore-scripts --no-audit --no-fund --loglevel=error) && touch $@; else mkdir -p tests/js/node_modules; fi

demo: $(VENV)/.core ## build the demo farm, run the main job on it, say where to look
	$(PY) -m evenstand demo --out $(OUT)

serve: $(VENV)/.core ## open the demo book as a local site (after make demo)
	$(PY) -m evenstand serve $(OUT)/book

check: $(VENV)/.dev ## lint, types, layers and the quick tests
	$(PY) -m ruff check src tests benchmarks
	$(PY) -m ruff format --check src tests benchmarks
	$(PY) -m mypy -p evenstand
	$(VENV)/bin/python -c "from importlinter.cli import lint_imports_command as run; run()" --no-cache
	$(PY) -m pytest -n 2 -m "not slow and not browser and not outside_data" tests

test: $(VENV)/.dev tests/js/node_modules/.done ## everything that can run on this machine; ends with what could not, and why
	$(PY) -m ruff check src tests benchmarks
	$(PY) -m ruff format --check src tests benchmarks
	$(PY) -m mypy -p evenstand
	$(VENV)/bin/python -c "from importlinter.cli import lint_imports_command as run; run()" --no-cache
	$(PY) -m pytest -n 2 tests

bench: $(VENV)/.dev ## time the heavy parts against general-purpose libraries; writes bench-out/results.json
	$(PY) -m benchmarks --seed $(SEED)

bounds: $(VENV)/.dev ## how far covered ground is from plain Shapely on 300 random fields, and how far it may be by its bounds
	$(PY) -m benchmarks.bounds

bench-faults: $(VENV)/.dev ## how well faults are found and intervals hold; writes bench-out/faults.json and its kin
	$(PY) -m benchmarks.faults --seed $(SEED)
	$(PY) -m benchmarks.trail_faults --seed $(SEED)
	$(PY) -m benchmarks.fill_bands --seed $(SEED)
	$(PY) -m benchmarks.seasons --seed $(SEED)
	$(PY) -m benchmarks.tally_seasons --seed $(SEED)

stress: $(VENV)/.dev ## the long tests: killed writers, 20,000 mutated files a reader, a log of 5 GB (EVENSTAND_STRESS_MB) in 1 GB of memory
	$(PY) -m pytest -n 0 tests/functional/test_kill.py tests/functional/test_kill_import.py
	EVENSTAND_FUZZ=20000 nice $(PY) -m pytest -n 2 tests/property/test_reader_fuzz.py
	nice $(PY) -m benchmarks.streaming

docs: $(VENV)/.core ## write the generated pages again
	$(PY) -m evenstand verify --page docs/verification.md

clean: ## remove everything that was made, the environment too
	rm -rf $(VENV) $(OUT) bench-out dist build .mypy_cache .ruff_cache .pytest_cache .hypothesis .import_linter_cache
	find . -name __pycache__ -type d -prune -exec rm -rf {} +
