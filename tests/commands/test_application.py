"""The application as a whole: help, exit codes, quickness, and sentences instead of tracebacks."""

import os
import re
import shlex
import subprocess
import sys

import pytest
import typer
from typer.testing import CliRunner

from classifier.commands.application import application

RUNNER = CliRunner()
GROUP = typer.main.get_command(application)


def commands():
    return sorted(GROUP.commands)


def test_the_commands_that_there_are():
    expected = {"demo", "measure", "label", "check", "explain", "compare", "audit", "metrics"}
    assert expected <= set(commands())


@pytest.mark.parametrize("name", commands())
def test_help_opens_with_a_verb_and_ends_with_a_line_to_paste(name):
    text = RUNNER.invoke(application, [name, "--help"], env={"COLUMNS": "100"}).stdout
    lines = [line.strip() for line in text.splitlines() if line.strip()]
    assert lines[0].startswith("Usage: ")
    verbs = {
        "Make",
        "Measure",
        "Label",
        "Check",
        "Explain",
        "Compare",
        "Audit",
        "Show",
        "Write",
        "Lay",
        "Open",
        "Revise",
        "Draft",
        "Report",
        "Plan",
    }
    assert lines[1].split()[0] in verbs
    assert lines[-1].startswith(f"callkey {name}")


@pytest.mark.parametrize("name", commands())
def test_the_line_to_paste_is_a_right_command_line(name):
    """Every option on it exists, and no argument is missing."""
    command = GROUP.commands[name]
    line = command.epilog
    words = shlex.split(line)
    assert words[:2] == ["callkey", name]
    context = command.make_context(name, words[2:])
    assert context.params


@pytest.mark.parametrize("name", commands())
def test_every_option_has_help(name):
    for parameter in GROUP.commands[name].params:
        if parameter.name != "help":
            assert getattr(parameter, "help", None), f"{name}: {parameter.name}"


def test_shared_options_mean_the_same_everywhere():
    """An option that several commands have is declared once: same help, same placeholder."""
    shared = {}
    for name in commands():
        for parameter in GROUP.commands[name].params:
            for option in getattr(parameter, "opts", []):
                if option in (
                    "--json",
                    "--workers",
                    "--time-expansion",
                    "--timezone",
                    "--name",
                    "--name-pattern",
                    "--site",
                ):
                    shared.setdefault(option, set()).add((parameter.help, parameter.metavar))
    assert len(shared) == 7
    assert all(len(forms) == 1 for forms in shared.values()), shared


def test_without_a_command_help_is_shown():
    result = RUNNER.invoke(application, [])
    assert "Commands:" in result.output
    assert result.exit_code == 2


@pytest.mark.parametrize("line", [["fly"], ["label"], ["metrics", "--fast"], ["measure", "x", "-o", "y", "--workers", "0"]])
def test_a_wrong_command_line_ends_with_2(line):
    result = RUNNER.invoke(application, line)
    assert result.exit_code == 2
    assert "Traceback" not in result.output


def test_the_version():
    result = RUNNER.invoke(application, ["--version"])
    assert result.exit_code == 0
    assert re.fullmatch(r"callkey \d+\.\d+\.\d+\n", result.stdout)


def test_help_imports_nothing_heavy():
    """Counted in modules, not in seconds: help must not wait for tables, figures or learning."""
    code = (
        "import sys; sys.argv = ['callkey', 'label', '--help']\n"
        "from classifier.__main__ import main\n"
        "try:\n    main()\nexcept SystemExit:\n    pass\n"
        "heavy = {'numpy', 'scipy', 'polars', 'matplotlib', 'sklearn', 'rich', 'soundfile', 'lark'}\n"
        "print(sorted(heavy & set(sys.modules)))\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip().splitlines()[-1] == "[]"


def test_module_and_command_are_the_same():
    done = subprocess.run([sys.executable, "-m", "classifier", "--version"], capture_output=True, text=True)
    assert done.returncode == 0
    assert done.stdout.startswith("callkey ")


def test_a_closed_pipe_is_no_fault():
    command = f"{shlex.quote(sys.executable)} -m classifier metrics | head -n 1"
    done = subprocess.run(
        ["bash", "-c", f"set -o pipefail; {command}"],
        capture_output=True,
        text=True,
        env={**os.environ, "PYTHONUNBUFFERED": "1"},
    )
    assert "Traceback" not in done.stderr
    assert "Exception ignored" not in done.stderr
