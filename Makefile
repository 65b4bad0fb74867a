# Everything a newcomer or a developer runs.  `make` alone lists it.
#
# PYTHON=python3.13   the interpreter to set up with (otherwise one is looked for)

BIN := .venv/bin
READY := .venv/.ready

# MUMPS and NumPy are at their best here with one BLAS thread a process.
export OMP_NUM_THREADS := 1
export OPENBLAS_NUM_THREADS := 1

.DEFAULT_GOAL := help
.PHONY: help setup demo test ci slow exhaustive validation mutants lint types benchmark schema docs pictures lock clean again

help:  ## list these targets
	@awk -F ':.*## ' '/^[a-z]+:.*## / { printf "make %-10s %s\n", $$1, $$2 }' $(MAKEFILE_LIST)

setup: $(READY)  ## make .venv with the locked packages and check that it all runs
	@echo ".venv is ready: .venv/bin/tubewright --help"

# Even if nothing has changed, look again when an interpreter is named (.venv may
# run another one) and when the folder was copied (.venv still points to the old one).
COPIED := $(shell grep -qsF '$(CURDIR)/.venv/' .venv/bin/pip || echo again)
$(READY): requirements.lock pyproject.toml tools/setup.sh tools/find-python.sh \
		tools/system-packages.sh \
		$(if $(PYTHON),again) $(COPIED)
	@PYTHON="$(PYTHON)" tools/setup.sh

demo: $(READY)  ## a ready case and a small study; pictures, tables, reports go to demo/
	@$(BIN)/tubewright solve cases/greenhouse_wrist.toml --out demo --overwrite
	@$(BIN)/tubewright report demo
	@rm -rf demo/reach
	@$(BIN)/tubewright study cases/small_reach.study.toml --out demo/reach
	@$(BIN)/tubewright report demo/reach

test: lint types  ## style, types, then the quick tests and validations
	@$(BIN)/python -m pytest -q -n 2 -p no:benchmark

ci: lint types  ## what .ci/run runs: quick and slow tests, and all of the validation
	@$(BIN)/python -m pytest -q -n 2 -p no:benchmark -m "not exhaustive"

slow: $(READY)  ## the tests and validations that take longer
	@$(BIN)/python -m pytest -q -n 2 -p no:benchmark -m slow

exhaustive: $(READY)  ## random cases by the hundred and the finest mesh; long
	@$(BIN)/python -m pytest -q -n 2 -p no:benchmark -m exhaustive

validation: $(READY)  ## the whole validation book: renews validation/TABLE.md and README
	@$(BIN)/python -m validation.renew

mutants: $(READY)  ## wrong signs and factors, one by one: each must fail some test
	@$(BIN)/python tools/mutants.py

lint: $(READY)  ## style (ruff) and the order of imports (import-linter)
	@$(BIN)/ruff check .
	@$(BIN)/ruff format --check .
	@$(BIN)/lint-imports --no-logo --no-cache

types: $(READY)  ## types: mypy
	@$(BIN)/mypy

benchmark: $(READY)  ## time the costly parts, one table a group
	@$(BIN)/python -m pytest -q benchmarks -m "" --benchmark-only --benchmark-group-by=group \
		--benchmark-sort=mean --benchmark-columns=min,mean,stddev,rounds

schema: $(READY)  ## renew the schemas in cases/ from the models
	@$(BIN)/tubewright schema case > cases/case.schema.json
	@$(BIN)/tubewright schema study > cases/study.schema.json

docs: $(READY)  ## renew the table of columns in docs/outputs.md
	@$(BIN)/python -m tools.document_columns

pictures: demo  ## renew docs/pictures/ from the demo
	@mkdir -p docs/pictures
	@cp demo/shape.png demo/curves.png demo/reach/twist.png docs/pictures/
	@$(BIN)/tubewright view demo --png docs/pictures/cut.png --cut --dpi 150

lock:  ## renew requirements.lock from pyproject.toml
	@PYTHON="$(PYTHON)" tools/lock.sh

clean:  ## remove what these targets made, .venv included
	rm -rf .venv demo build dist *.egg-info .benchmarks .hypothesis
	rm -rf .mypy_cache .pytest_cache .ruff_cache
	find . -name __pycache__ -type d -prune -exec rm -rf {} +
