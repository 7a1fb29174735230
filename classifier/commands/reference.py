"""The reference of the command line, docs/commands.md, made of the commands' own help.

``python -m classifier.commands.reference`` prints it; a test fails when docs/commands.md says something else.
"""

from classifier.commands import helptext

WIDTH = 90

INTRODUCTION = """\
# The commands

This page is made of the commands' own help (`callkey COMMAND --help`) by
`python -m classifier.commands.reference > docs/commands.md`.

Results go to standard output; progress, notes and faults to standard error. `--json` prints the result for
programs.

| exit code | meaning |
|---|---|
| 0 | done |
| 1 | the input or the key has faults, each named in one sentence; what could be done is done |
| 2 | the command line is wrong |
"""


def reference() -> str:
    """The whole page as Markdown text."""
    from typer.main import get_command

    from classifier.commands.application import application

    group = get_command(application)
    parts = [INTRODUCTION]
    for name, command in group.commands.items():
        parts.append(f"## callkey {name}\n\n```text\n{helptext.command_help(command, f'callkey {name}', WIDTH)}\n```\n")
    return "\n".join(parts)


if __name__ == "__main__":
    print(reference(), end="")
