# Everything a developer types. Each target does its own set-up in .venv, from PyPI alone.
PYTHON ?= python3
VENV   := .venv
BIN    := $(VENV)/bin
PIP    := $(BIN)/python -m pip --disable-pip-version-check -q

.PHONY: demo test lint types bench pictures clean

$(VENV)/.run: pyproject.toml constraints.txt
	$(PYTHON) -m venv $(VENV)
	$(PIP) install -c constraints.txt -e .
	touch $@

$(VENV)/.test: $(VENV)/.run
	$(PIP) install -c constraints.txt -e '.[test,lint]'
	touch $@

demo: $(VENV)/.run          ## the main job on a complete scenario
	$(BIN)/clogwise demo

test: $(VENV)/.test         ## every test
	$(BIN)/python -m pytest -n 2

lint: $(VENV)/.test
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .

types: $(VENV)/.test
	$(BIN)/mypy

bench: $(VENV)/.test        ## speed, as ratios within one run
	$(BIN)/python -m bench

pictures: $(VENV)/.run      ## the README's pictures: chain, job sheet, customer's page, recorded drive
	$(BIN)/python -m explain.papers.pictures docs/pictures
	$(BIN)/python -m bench.drive --burn 440 > $(VENV)/drive.csv
	$(BIN)/clogwise log cases/canal-estate.yaml $(VENV)/drive.csv --picture docs/pictures/log.png > $(VENV)/drive.txt

clean:
	rm -rf $(VENV) .pytest_cache .mypy_cache .ruff_cache demo-output
