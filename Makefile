# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
#
# `make help` lists what there is. Everything is installed into .venv or into the cache
# folder (FETTLE_CACHE, default ~/.cache/fettle); nothing is asked, nothing waits.

SHELL := /bin/bash
.SHELLFLAGS := -euo pipefail -c
.DEFAULT_GOAL := help
.DELETE_ON_ERROR:

VENV := .venv
BIN := $(VENV)/bin
PIP := $(BIN)/python -m pip install --quiet --disable-pip-version-check
BPY ?= bpy==5.0.*
BLENDER_LINES ?= 4.2 4.5 5.0
PYTEST_ARGS ?=
export BLENDER FETTLE_CACHE

.PHONY: help
help: ## list the targets
	@sed -nE 's/^([a-z-]+):.*## (.*)/  make \1|\2/p' Makefile | column -t -s '|'

# The stamps say what is installed; pip is asked again only when pyproject.toml changed.
$(BIN)/python:
	"$$(tools/find_python.sh)" -m venv $(VENV)

$(VENV)/.installed-fettle: pyproject.toml | $(BIN)/python
	@echo "installing Blender as a module and Fettle into $(VENV)"
	$(PIP) "$(BPY)" --editable .
	tools/install_libraries.sh $(BIN)/python
	@touch $@

$(VENV)/.installed-test-tools: pyproject.toml | $(VENV)/.installed-fettle
	@echo "installing the test tools into $(VENV)"
	$(PIP) "$(BPY)" --editable ".[test]"
	@touch $@

.PHONY: demo
demo: $(VENV)/.installed-fettle ## build the demo shot, read it, show what was found
	$(BIN)/fettle demo

.PHONY: test
test: lint types unit in-browser in-blender ## lint, types, unit tests, the sheet in a browser, Blender 5.0

.PHONY: lint
lint: $(VENV)/.installed-test-tools ## ruff, rules and format
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .

.PHONY: types
types: $(VENV)/.installed-test-tools ## mypy, strict on core_math
	$(BIN)/mypy

.PHONY: unit
unit: $(VENV)/.installed-test-tools captures ## tests of core_math, without Blender
	$(BIN)/python -m pytest tests/unit $(PYTEST_ARGS)

.PHONY: in-browser
in-browser: $(VENV)/.installed-test-tools ## the review sheet in a real browser
	@tools/install_browser.sh || test $$? -eq 3
	$(BIN)/python -m pytest tests/in_browser $(PYTEST_ARGS)

.PHONY: in-blender
in-blender: $(VENV)/.installed-test-tools captures ## tests inside Blender 5.0, no window
	$(BIN)/python tools/run_in_blender_tests.py $(PYTEST_ARGS)

.PHONY: test-all-blenders
test-all-blenders: $(VENV)/.installed-test-tools captures ## tests inside Blender 4.2, 4.5 and 5.0
	$(BIN)/python tools/run_on_all_blenders.py $(BLENDER_LINES) -- $(PYTEST_ARGS)

.PHONY: captures
captures: # the motion captures; tests that want them skip by name when they cannot be had
	@tools/fetch_captures.sh >/dev/null || test $$? -eq 3

.PHONY: zip
zip: $(VENV)/.installed-fettle ## the extension's archive, in dist/
	@$(BIN)/python tools/build_zip.py

.PHONY: window-test
window-test: $(VENV)/.installed-test-tools ## drive real windows; BLENDER=path takes yours
	$(BIN)/python tools/window_test.py -- $(PYTEST_ARGS)

.PHONY: score
score: $(VENV)/.installed-test-tools captures ## how good the checks are: planted faults, false flags
	PYTHONPATH=tests/support $(BIN)/python tests/quality/score.py

.PHONY: bench
bench: $(VENV)/.installed-test-tools ## how fast it is, against Blender's own frame_set
	$(BIN)/python -m bench.run

.PHONY: docs
docs: $(VENV)/.installed-fettle ## write the pages of the checks from their docstrings
	$(BIN)/python tools/write_check_docs.py

.PHONY: clean
clean: ## remove what was built (not .venv, not the cache)
	rm -rf build dist demo_out screenshots *.egg-info
	rm -rf .mypy_cache .pytest_cache .ruff_cache .hypothesis
	find . -path ./$(VENV) -prune -o -name __pycache__ -type d -exec rm -rf {} +
