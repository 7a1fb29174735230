"""docs/commands.md says what the commands' help says."""

from pathlib import Path

from classifier.commands.reference import reference

PAGE = Path(__file__).parents[2] / "docs" / "commands.md"


def test_the_page_is_fresh():
    remedy = "run `python -m classifier.commands.reference > docs/commands.md`"
    assert PAGE.read_text(encoding="utf-8") == reference(), remedy


def test_every_command_has_its_section():
    from typer.main import get_command

    from classifier.commands.application import application

    for name in get_command(application).commands:
        assert f"## callkey {name}\n" in reference()
