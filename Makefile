# Two commands do everything on a fresh machine: `make demo` and `make test`.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
READY := $(VENV)/ready

.PHONY: demo test deep bench lint clean

$(READY): requirements.lock pyproject.toml
	$(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes -r requirements.lock
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --no-deps --no-build-isolation -e .
	$(BIN)/python -m shadewright.warm
	touch $(READY)

demo: $(READY)
	$(BIN)/shadewright demo --out results/demo

lint: $(READY)
	$(BIN)/ruff check src tests benchmarks examples
	$(BIN)/mypy

test: $(READY) lint
	$(BIN)/python -m pytest -n 2 -m "not deep"

deep: $(READY)
	$(BIN)/python -m pytest -n 2 -m "deep"

bench: $(READY)
	for script in benchmarks/bench_*.py; do $(BIN)/python $$script || exit 1; done

clean:
	rm -rf $(VENV) results build dist
