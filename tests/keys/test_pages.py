"""The pages in docs/keys/ are those that the keys give now."""

import importlib.util
from pathlib import Path

import pytest

DOCS = Path(__file__).parents[2] / "docs" / "keys"
NAMES = sorted(path.stem for path in (DOCS.parents[1] / "keys").glob("*.key"))
REMEDY = "run `python docs/keys/make_pages.py`"


@pytest.fixture(scope="module")
def maker():
    specification = importlib.util.spec_from_file_location("make_pages", DOCS / "make_pages.py")
    module = importlib.util.module_from_spec(specification)
    specification.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def fresh(maker):
    return maker.pages()


@pytest.mark.parametrize("file", ["index.md", *(f"{name}.md" for name in NAMES)])
def test_page_is_fresh(fresh, file):
    assert (DOCS / file).read_text(encoding="utf-8") == fresh[file], REMEDY


def test_there_is_no_page_without_a_key(fresh):
    assert {path.name for path in DOCS.glob("*.md")} == set(fresh)


@pytest.mark.parametrize("name", NAMES)
def test_picture_is_of_this_state_of_the_key(maker, reading, name):
    """Pictures differ in their last digits from one drawing library to the next, so the state that they name counts."""
    assert f"state {maker.digest(reading(name))}" in (DOCS / f"{name}.svg").read_text(encoding="utf-8"), REMEDY


def test_no_call_inside_a_taxons_ranges_is_definite_as_another(fresh):
    """The coverage tables say by trial what the proofs say for all calls."""
    for text in fresh.values():
        rows = [line for line in text.splitlines() if line.startswith("| *") and line.rstrip().endswith("% |")]
        assert all(row.split("|")[-2].strip() == "0 %" for row in rows)
    assert "definite as other" in fresh["britain-and-ireland.md"]
