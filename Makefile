# Two commands do everything on a fresh machine: `make demo` and `make test`.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
READY := $(VENV)/ready
TESTED := $(VENV)/ready-to-test

.PHONY: demo test deep bench lint browser clean

$(READY): requirements.lock pyproject.toml
	$(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes -r requirements.lock
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --no-deps --no-build-isolation -e .
	$(BIN)/python -m shadewright.warm
	touch $(READY)

# What only the tests need: further libraries.
$(TESTED): $(READY) requirements-dev.lock
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes -r requirements-dev.lock
	touch $(TESTED)

demo: $(READY)
	$(BIN)/shadewright demo --out results/demo

lint: $(TESTED)
	$(BIN)/ruff check src tests benchmarks examples
	$(BIN)/mypy

# The page is tested in a real browser, and exact solids by a CAD library that needs libGL: both from the system's packages
# where they are missing and may be installed.
browser:
	@{ command -v chromium >/dev/null 2>&1 || command -v chromium-browser >/dev/null 2>&1; } || $(call fetch,chromium)
	@$(PYTHON) -c "import ctypes; ctypes.CDLL('libGL.so.1')" 2>/dev/null || $(call fetch,libgl1)

fetch = { test "$$(id -u)" = 0 && command -v apt-get >/dev/null 2>&1 && apt-get update -qq && \
	  apt-get install -y -qq --no-install-recommends $(1) >/dev/null; } || \
	{ echo "make test: the tests need $(1); install it (apt-get install $(1)) and run make test again." >&2; exit 1; }

test: $(TESTED) lint browser
	$(BIN)/python -m pytest -n 2 -m "not deep"

deep: $(TESTED) browser
	$(BIN)/python -m pytest -n 2 -m "deep"

bench: $(TESTED)
	for script in benchmarks/bench_*.py; do $(BIN)/python $$script || exit 1; done

clean:
	rm -rf $(VENV) results build dist
