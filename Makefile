# Two commands on a fresh machine: `make run` and `make test`. They need Python 3.11+ and make.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
STAMP := $(VENV)/.installed
export OPENBLAS_NUM_THREADS ?= 1
export OMP_NUM_THREADS ?= 1

.PHONY: help install run test test-quick check fix bench mutate clean

help: ## list the commands
	@grep -hE '^[a-z-]+:.*## ' $(MAKEFILE_LIST) | sed -E 's/:.*## /\t/' | expand -t 14

install: $(STAMP) ## set up .venv with the pinned dependencies

$(STAMP): requirements/locked.txt pyproject.toml
	@$(PYTHON) -c 'import sys; sys.exit("Python 3.11 or later is needed; this is " + sys.version.split()[0] + ". Try: make PYTHON=python3.11") if sys.version_info < (3, 11) else None'
	$(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet --requirement requirements/locked.txt
	$(BIN)/python -m pip install --quiet --no-deps --no-build-isolation --editable .
	$(BIN)/python -m sidewise.reason.compiled
	@touch $@

run: install ## set up, print what is said of the examples, serve the invented clinic
	$(BIN)/sidewise demo --print
	$(BIN)/sidewise demo

test: install ## everything that can fail, on both databases, in a browser
	$(BIN)/python -m tests.setup_browser
	$(BIN)/python -m pytest -n 2 --dist loadfile
	$(BIN)/python -m tests.setup_postgres -- $(BIN)/python -m pytest -n 2 --dist loadfile -m "not browser and not slow" tests/web tests/safe

test-quick: install ## without the slow and the browser tests
	$(BIN)/python -m pytest -n 2 --dist loadfile -m "not slow and not browser and not postgres"

check: install ## format, lint, types, layers, migrations, docs examples; changes nothing
	$(BIN)/python -m tests.check

fix: install ## format and mend what can be mended
	$(BIN)/ruff format .
	$(BIN)/ruff check --fix .

bench: install ## measure this project and its peers in one run; writes docs/benchmarks.md
	$(BIN)/python -m bench

mutate: install ## break each promise; its test must notice
	$(BIN)/python -m tests.mutate

clean: ## remove the environment and caches
	rm -rf $(VENV) .pytest_cache .mypy_cache .ruff_cache .hypothesis build
