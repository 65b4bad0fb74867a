# Commands for users and developers.  `make` alone lists them.
#
# PYTHON=python3.13   the interpreter to set up with (otherwise the set-up searches for one)

BIN := .venv/bin
READY := .venv/.ready

# MUMPS and NumPy are fastest here with one BLAS thread per process.
export OMP_NUM_THREADS := 1
export OPENBLAS_NUM_THREADS := 1

.DEFAULT_GOAL := help
.PHONY: help setup demo test ci slow exhaustive validation mutants lint types benchmark schema docs pictures lock clean again

help:  ## list these targets
	@awk -F ':.*## ' '/^[a-z]+:.*## / { printf "make %-10s %s\n", $$1, $$2 }' $(MAKEFILE_LIST)

setup: $(READY)  ## make .venv with the locked packages and check each part
	@echo ".venv is ready: .venv/bin/tubewright --help"

# Set up again, even if no file has changed, when an interpreter is named (.venv may use another
# one) and when the folder was copied (.venv still points to the old folder).
COPIED := $(shell grep -qsF '$(CURDIR)/.venv/' .venv/bin/pip || echo again)
$(READY): requirements.lock pyproject.toml tools/setup.sh tools/find-python.sh \
		tools/system-packages.sh \
		$(if $(PYTHON),again) $(COPIED)
	@PYTHON="$(PYTHON)" tools/setup.sh

demo: $(READY)  ## solve a ready case and a small study; results and reports go to demo/
	@$(BIN)/tubewright solve cases/greenhouse_wrist.toml --out demo --overwrite
	@$(BIN)/tubewright report demo
	@rm -rf demo/reach
	@$(BIN)/tubewright study cases/small_reach.study.toml --out demo/reach
	@$(BIN)/tubewright report demo/reach

test: lint types  ## style, types, quick tests and quick validation
	@$(BIN)/python -m pytest -q -n 2 -p no:benchmark

ci: lint types  ## style, types, quick and slow tests, the whole validation: what .ci/run runs
	@$(BIN)/python -m pytest -q -n 2 -p no:benchmark -m "not exhaustive"

slow: $(READY)  ## slow tests and slow validation
	@$(BIN)/python -m pytest -q -n 2 -p no:benchmark -m slow

exhaustive: $(READY)  ## hundreds of random cases and the finest mesh; takes long
	@$(BIN)/python -m pytest -q -n 2 -p no:benchmark -m exhaustive

validation: $(READY)  ## the whole validation; renews validation/TABLE.md and its summary in README.md
	@$(BIN)/python -m validation.renew

mutants: $(READY)  ## check that the tests notice wrong signs and factors, one at a time
	@$(BIN)/python tools/mutants.py $(if $(SHARD),--shard $(SHARD))

lint: $(READY)  ## style (ruff) and the order of imports (import-linter)
	@$(BIN)/ruff check .
	@$(BIN)/ruff format --check .
	@$(BIN)/lint-imports --no-logo --no-cache

types: $(READY)  ## types: mypy
	@$(BIN)/mypy

benchmark: $(READY)  ## measure the time of the expensive parts, as ratios
	@$(BIN)/python -m pytest -q benchmarks -m "" --benchmark-only --benchmark-group-by=group \
		--benchmark-sort=mean --benchmark-columns=min,mean,stddev,rounds

schema: $(READY)  ## renew the schemas in cases/ from the models
	@$(BIN)/tubewright schema case > cases/case.schema.json
	@$(BIN)/tubewright schema study > cases/study.schema.json

docs: $(READY)  ## renew the table of columns in docs/outputs.md
	@$(BIN)/python -m tools.document_columns

pictures: demo  ## renew docs/pictures/
	@mkdir -p docs/pictures
	@cp demo/shape.png demo/curves.png demo/reach/twist.png docs/pictures/
	@$(BIN)/tubewright view demo --png docs/pictures/cut.png --cut --dpi 150
	@$(BIN)/python tools/draw_theory.py

lock:  ## renew requirements.lock from pyproject.toml
	@PYTHON="$(PYTHON)" tools/lock.sh

clean:  ## remove all that these targets made, with .venv
	rm -rf .venv demo build dist *.egg-info .benchmarks .hypothesis
	rm -rf .mypy_cache .pytest_cache .ruff_cache
	find . -name __pycache__ -type d -prune -exec rm -rf {} +
