# The two commands of the README, `make demo` and `make test`, do all the set-up themselves.
VENV := .venv
BIN := $(VENV)/bin
STAMP := $(VENV)/ready.stamp
JOBS ?= 3
MINUTES ?= 10
KILLS ?= 500
SEEDS ?= 1 2 3 4
MONTHS ?=
BENCH ?= long
# every command is a process of its own: compiled modules are kept, or each of them compiles six hundred files anew
export PYTHONDONTWRITEBYTECODE :=

.PHONY: setup demo test test-all check bench fuzz strangers docs clean
setup: $(STAMP)

$(STAMP): requirements.lock pyproject.toml .ci/setup
	@bash .ci/setup

demo: $(STAMP)  ## sample workshop in ./workshop, last month's report, the board; without a terminal it looks once and stops
	@$(BIN)/qc demo --workshop workshop $$([ -t 1 ] || echo --once)

test: $(STAMP)
	@$(BIN)/python -m pytest -n $(JOBS) --dist loadfile --no-loadscope-reorder

test-all: $(STAMP)  ## as test, and the workshops of store, jobs, commands and board on PostgreSQL as well
	@$(BIN)/python -m pytest -n $(JOBS) --dist loadfile --no-loadscope-reorder
	@QC_TESTS_ON=postgresql $(BIN)/python -m pytest -n $(JOBS) --dist loadfile --no-loadscope-reorder \
		tests/jobs tests/cli tests/dashboard tests/browser tests/faults/test_kills.py tests/faults/test_two_writers.py

check: $(STAMP)
	@$(BIN)/ruff check .
	@$(BIN)/ruff format --check .
	@$(BIN)/mypy
	@$(BIN)/python -m pytest tests/test_house.py
	@$(BIN)/python -m pytest --doctest-modules qc dashboard sample_measurements

bench: $(STAMP)  ## every speed beside its budget and how it grows; BENCH=short: smaller sizes, minutes where nothing else runs
	@$(BIN)/python tests/benchmarks/speed.py --page $(if $(filter short,$(BENCH)),--short)

# the fuzzer led by coverage is for Linux only; elsewhere, or where it cannot be had, bytes are changed blindly
fuzz: $(STAMP)  ## kills, full disks, two writers, each reader fuzzed for MINUTES; two hours with what is set
	@[ "$$(uname)" != Linux ] || $(BIN)/python -c 'import atheris' 2>/dev/null || \
		$(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes -r requirements-fuzz.lock || \
		echo "Going on without the fuzzer that is led by coverage."
	@$(BIN)/python tests/faults/fuzz.py --minutes $(MINUTES) --kills $(KILLS)

strangers: $(STAMP)  ## what is told of invented workshops beside their truth; SEEDS, MONTHS, ONLY, JOBS; hours
	@$(BIN)/python tests/strangers/score.py --jobs $(JOBS) --seeds $(SEEDS) $(if $(MONTHS),--months $(MONTHS)) $(if $(ONLY),--only $(ONLY))

docs: $(STAMP)
	@$(BIN)/python docs/make_docs.py --pictures

clean:
	rm -rf $(VENV) build dist .pytest_cache .mypy_cache .ruff_cache
	find . -name __pycache__ -type d -prune -exec rm -rf {} +
