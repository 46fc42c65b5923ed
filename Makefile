# The commands to remember. `make` alone lists them.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
PIP := $(BIN)/python -m pip --disable-pip-version-check --quiet

.DEFAULT_GOAL := help
.PHONY: help demo test test-pythons check docs release bench soak soak-shop soak-dose score fuzz audit schemas lock clean

help:  ## list these commands
	@awk -F ':.*## ' '/^[a-z-]+:.*## / { printf "  make %-12s %s\n", $$1, $$2 }' Makefile

demo: $(VENV)/ready-to-run  ## a simulated plant of four sumps, the agent, and a live table; Ctrl-C ends it
	@$(BIN)/millpond demo

test: $(VENV)/ready-to-test  ## install what the tests need and run all of them
	@bash tests/install.sh servers
	@bash tests/run.sh $(BIN)/python $(TESTS)

test-pythons: $(VENV)/ready-to-test  ## the fast tests under each Python from 3.11 on that is to be had (PYTHONS="...")
	@bash tests/packaging/pythons.sh $(BIN)/uv $(TESTS)

check: $(VENV)/ready-to-test  ## lint, types, docstrings, import contracts, generated files
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/mypy --platform win32 --cache-dir .mypy_cache/win32
	$(BIN)/interrogate -q advisor agent simulators
	$(BIN)/lint-imports
	$(BIN)/python -m agent.messages.schemas --check

bench: $(VENV)/ready-to-test  ## measure: ratios within one run, and sizes
	$(BIN)/python -m tests.bench

score: $(VENV)/ready-to-run  ## set the agent against truth and yardstick in all scenarios (hours; SEEDS=10 JOBS=2)
	@$(BIN)/millpond-sim score --seeds $(or $(SEEDS),10) --jobs $(or $(JOBS),2)

soak: $(VENV)/ready-to-test  ## a year of ten sumps with everything failing at random, then soak-dose
	$(BIN)/python -m tests.soak
	@$(MAKE) soak-dose

soak-shop: $(VENV)/ready-to-test  ## alarms of a shop of a hundred sumps in a year (hours; SUMPS=100 DAYS=365 JOBS=2)
	$(BIN)/python -m tests.soak.shop --sumps $(or $(SUMPS),100) --days $(or $(DAYS),365) --jobs $(or $(JOBS),2)

soak-dose: $(VENV)/ready-to-test  ## every promise of a dose over 100000 random states (half an hour; STATES=100000)
	MILLPOND_STATES=$(or $(STATES),100000) $(BIN)/python -m pytest -q --hypothesis-profile=fresh tests/advisor/test_dose.py -k every_dose

fuzz: $(VENV)/ready-to-test  ## look for bytes that break a decoder, the plant file or a recording (MINUTES=60); Linux
	@test -d $(VENV)/fuzz/atheris || $(PIP) install --target $(VENV)/fuzz atheris==3.0.0
	PYTHONPATH=$(VENV)/fuzz $(BIN)/python -m tests.fuzz --minutes $(or $(MINUTES),60)

audit: $(VENV)/ready-to-test  ## ask the vulnerability service of PyPI about every locked dependency
	$(BIN)/pip-audit --strict --disable-pip --require-hashes -r requirements.lock
	$(BIN)/pip-audit --strict --disable-pip --require-hashes -r requirements-dev.lock

docs: $(VENV)/ready-to-test  ## build the documentation into build/site, without the network
	@NO_MKDOCS_2_WARNING=1 $(BIN)/python -m mkdocs build --strict --quiet
	@echo "build/site/index.html; its search wants a server: python3 -m http.server -d build/site"

release: $(VENV)/ready-to-test  ## all checks, then dist/: packages, list of contents, documentation, checksums; uploads nothing
	@version=$$($(BIN)/python -c 'from agent.version import VERSION; print(VERSION)'); \
	grep -q "^## $$version" CHANGELOG.md || { echo "CHANGELOG.md has no section on $$version"; exit 1; }
	@git diff --quiet HEAD || { echo "there are changes that are not committed"; exit 1; }
	@$(MAKE) check test
	@rm -rf dist
	@bash tests/packaging/release.sh $(BIN)/python dist

schemas: $(VENV)/ready-to-test  ## write the generated files of config/ anew
	$(BIN)/python -m agent.messages.schemas

lock: $(VENV)/ready-to-test  ## take up newer versions of the dependencies
	$(BIN)/uv pip compile --quiet --upgrade --universal --generate-hashes --python-version 3.11 \
	  --custom-compile-command "make lock" --group build -o requirements.lock pyproject.toml
	$(BIN)/uv pip compile --quiet --upgrade --universal --generate-hashes --python-version 3.11 \
	  --custom-compile-command "make lock" --group embedded -o requirements-demo.lock
	$(BIN)/uv pip compile --quiet --upgrade --universal --generate-hashes --python-version 3.11 \
	  --custom-compile-command "make lock" --group build --group embedded --group dev --group docs --group release --group audit \
	  -c requirements.lock -o requirements-dev.lock pyproject.toml

clean:  ## remove the virtual environment and what the tools left
	rm -rf $(VENV) build dist .mypy_cache .ruff_cache .pytest_cache .hypothesis .import_linter_cache

# A stamp is written when all of it went well, so a half-finished try starts over.
$(VENV)/python-made:
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' || \
	  { echo "millpond needs Python 3.11 or newer; $(PYTHON) is $$($(PYTHON) --version 2>&1)"; exit 1; }
	@bash tests/install.sh venv $(PYTHON)
	@echo "making the virtual environment in $(VENV)"
	@$(PYTHON) -m venv --clear $(VENV)
	@touch $@

$(VENV)/ready-to-run: $(VENV)/python-made requirements.lock requirements-demo.lock pyproject.toml
	@echo "installing the locked dependencies"
	@$(PIP) install --require-hashes -r requirements.lock
	@$(PIP) install --require-hashes -r requirements-demo.lock || \
	  echo "no wheel of the embedded broker for this machine: the demo will look for mosquitto"
	@$(PIP) install --no-deps --no-build-isolation -e .
	@touch $@

$(VENV)/ready-to-test: $(VENV)/ready-to-run requirements-dev.lock
	@echo "installing what the tests need"
	@$(PIP) install --require-hashes -r requirements-dev.lock
	@touch $@
