# Chores of the house. Needs Python 3.11 or newer, make and git; everything else is fetched into .venv.
#   make demo    the demo household in the browser     make test    every test, on both databases
#   make check   style, types, import contracts        make bench   the speed lines
PYTHON ?= $(shell command -v python3.11 || command -v python3 || echo python)
VENV := .venv
BIN := $(VENV)/bin
PIP := $(BIN)/python -m pip --quiet --disable-pip-version-check
# A folder for the demo's home, and further words for its command: make demo HOME_DIR=/tmp/home ARGS=--no-serve
HOME_DIR ?=
ARGS ?=
# A worker for each core (but on PostgreSQL, where two cannot make their databases at the same moment); the tests of one file stay together, so that what they share is built once, and the order of files is that of tests/conftest.py: the long ones first.
PYTEST = $(BIN)/python -m pytest --numprocesses auto --dist loadfile --no-loadscope-reorder
# Further words for pytest: make test PYTEST_ARGS='-x -k standing'
PYTEST_ARGS ?=
# What runs on PostgreSQL a second time: every question and every act of the record; every page, drawn and knocked at (doors, html);
# threads with connections of their own (live); and what is typed to do harm, for SQLite takes letters and lengths that PostgreSQL
# does not (pages, security, estimates, first_evening, tablet). The other rooms of web only show what records answers, and web has no
# question to the database of its own (tests/repository/test_house.py sees to it). The commands live on a home that is SQLite.
# Tests that do not ask for the database of the tests are left out there by themselves (tests/conftest.py).
DATABASE_TESTS := tests/records \
	$(patsubst %,tests/web/test_%.py,doors html live pages security estimates first_evening tablet)
# The demonstration is a file of SQLite wherever it is built, and is built of acts which are tried one by one on both.
DATABASE_LEFT_OUT := tests/records/test_order_worlds.py tests/records/test_demo_plan.py tests/records/test_demo.py

# uv makes the venv equal to the lock in seconds; where it cannot, pip reads the same hashes and takes a little longer.
define install
	@VIRTUAL_ENV=$(VENV) $(BIN)/uv pip sync --quiet --require-hashes $(1) requirements-build.lock \
		|| $(PIP) install --require-hashes -r $(1)
	@$(PIP) install --no-deps --no-build-isolation --no-index --editable .
endef

.PHONY: help setup setup-dev system demo test check bench lock clean

help:
	@sed -n 's/^#   //p' Makefile

setup: $(VENV)/.base
	@echo "Ready. Begin with: $(BIN)/markstead serve"
setup-dev: $(VENV)/.dev

$(VENV)/.tools: requirements-build.lock
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' \
		|| { echo "Found $$($(PYTHON) --version); Markstead needs Python 3.11 or newer: make PYTHON=/path/to/python3.11" >&2; exit 1; }
	@echo "Making the environment in $(VENV); this takes a minute or two the first time."
	@$(PYTHON) -m venv $(VENV)
	@$(PIP) install --require-hashes -r requirements-build.lock || { \
		echo "uv is not to be had here; going on with pip alone." >&2; \
		sed '/^uv==/,$$d' requirements-build.lock > $(VENV)/setuptools.lock; \
		$(PIP) install --require-hashes -r $(VENV)/setuptools.lock; }
	@touch $@

$(VENV)/.base: $(VENV)/.tools requirements.lock pyproject.toml
	@rm -f $(VENV)/.dev
	$(call install,requirements.lock)
	@touch $@

# The development lock holds all that the other one holds, so it serves for both.
$(VENV)/.dev: $(VENV)/.tools requirements-dev.lock pyproject.toml
	$(call install,requirements-dev.lock)
	@touch $(VENV)/.base $@

# The browser tests need a Chromium, and it is the only thing that pip cannot bring.
HAVE_CHROMIUM = command -v chromium || command -v chromium-browser || command -v google-chrome
system:
	@if ! { $(HAVE_CHROMIUM); } >/dev/null && [ "$$(id -u)" = 0 ] && command -v apt-get >/dev/null; then \
		apt-get update -qq && DEBIAN_FRONTEND=noninteractive \
			apt-get install -y -qq --no-install-recommends chromium fonts-dejavu-core </dev/null >/dev/null || true; \
	fi
	@{ $(HAVE_CHROMIUM); } >/dev/null || \
		echo "No Chromium found: the browser tests will be skipped. Install the package 'chromium' to run them." >&2

demo: setup
	$(BIN)/markstead demo $(if $(HOME_DIR),--home "$(HOME_DIR)") $(ARGS)

# Both at once: the one on PostgreSQL has a single worker, and would leave the other cores idle. Its lines are shown at the end.
test: setup-dev system
	@log=$$(mktemp) && trap 'rm -f "$$log"' EXIT; \
	$(BIN)/python -m tests.tools.postgres $(BIN)/python -m pytest -m "not browser" $(DATABASE_TESTS) \
		$(addprefix --ignore=,$(DATABASE_LEFT_OUT)) $(PYTEST_ARGS) >"$$log" 2>&1 & beside=$$!; \
	$(PYTEST) $(PYTEST_ARGS); here=$$?; \
	wait $$beside; there=$$?; \
	echo "The same on PostgreSQL:"; cat "$$log"; exit $$((here | there))

check: setup-dev
	$(BIN)/ruff check
	$(BIN)/ruff format --check
	$(BIN)/mypy
	$(BIN)/lint-imports
	MARKSTEAD_HOME=$(VENV) $(BIN)/python -m django makemigrations --check --dry-run --settings markstead.web.settings

bench: setup-dev
	$(BIN)/python -m benchmarks $(ARGS)

# Raise nothing that need not be raised; make lock UPGRADE=--upgrade takes the newest of everything.
COMPILE = $(BIN)/uv pip compile --quiet $(UPGRADE) --universal --python-version 3.11 --generate-hashes \
	--no-emit-index-url --no-header
lock: $(VENV)/.tools
	$(COMPILE) pyproject.toml -o requirements.lock
	$(COMPILE) pyproject.toml --extra dev -o requirements-dev.lock
	printf 'setuptools>=77\nuv\n' | $(COMPILE) --no-annotate - -o requirements-build.lock

clean:
	rm -rf $(VENV) build dist .mypy_cache .ruff_cache .pytest_cache .hypothesis .import_linter_cache
