# Two commands for a newcomer: `make demo` and `make test`. VENV and PYTHON can be set from outside.
VENV ?= .venv
PYTHON ?= python3
BIN := $(VENV)/bin

# pins: the versions that .ci/run installs; licences: of everything that is installed with throwbook.
# Python keeps what it compiled, whatever the environment says: a test that starts a process starts it much faster so.
export PYTHONDONTWRITEBYTECODE :=
# A process a core and one more (tests/conftest.py). Neighbouring tests go to the same one, so what a file or a room sets up once isn't set up in each.
SPREAD := -n auto --dist worksteal

.PHONY: demo test test-all check format bench faults install versions windows licences pins samples pictures clean

demo: $(VENV)/.ready-run
	$(BIN)/throwbook demo

test: $(VENV)/.ready-dev
	$(BIN)/python -m pytest -q $(SPREAD)

test-all: $(VENV)/.ready-dev
	$(BIN)/python -m pytest -q $(SPREAD) -m ""

check: $(VENV)/.ready-dev
	$(BIN)/ruff format --check .
	$(BIN)/ruff check .
	$(BIN)/mypy
	$(BIN)/mypy --platform win32 --cache-dir .mypy_cache/win32
	$(BIN)/lint-imports

format: $(VENV)/.ready-dev
	$(BIN)/ruff format .
	$(BIN)/ruff check --fix .

faults: $(VENV)/.ready-dev
	$(BIN)/python -m tests.faults

install:
	$(PYTHON) -m tests.install

versions:
	$(PYTHON) -m tests.versions

# The suite on Windows' Python under Wine: a recorded run, not part of CI.
windows: $(VENV)/.ready-dev
	$(BIN)/python -m tests.windows.suite

licences: $(VENV)/.ready-run
	$(BIN)/python -m tests.licences

pins: $(VENV)/.ready-dev
	$(BIN)/python -m pip freeze --all --exclude pip --exclude-editable > .ci/constraints.txt

bench: $(VENV)/.ready-dev
	$(BIN)/python -m tests.benchmarks

samples: $(VENV)/.ready-run
	$(BIN)/python -m throwbook samples sample-runs

pictures: $(VENV)/.ready-run
	$(BIN)/python -m throwbook.cli.guide

clean:
	rm -rf $(VENV) .pytest_cache .mypy_cache .ruff_cache .import_linter_cache build *.egg-info

$(VENV)/bin/python:
	$(PYTHON) -m venv $(VENV)

$(VENV)/.ready-run: pyproject.toml | $(VENV)/bin/python
	$(BIN)/python -m pip install --quiet --disable-pip-version-check -e .
	touch $@

$(VENV)/.ready-dev: pyproject.toml | $(VENV)/bin/python
	$(BIN)/python -m pip install --quiet --disable-pip-version-check -e '.[dev]'
	touch $@ $(VENV)/.ready-run
