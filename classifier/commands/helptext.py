"""The help of each command as text: what it does, what it takes, and last a line that can be pasted.

Set by ourselves so that it reads the same with every release of the command-line library; docs/commands.md is
made of the same text.
"""

import shutil
import textwrap

from typer.core import TyperCommand, TyperGroup

#: Lines are never set wider than this, however wide the terminal.
WIDEST = 100
#: A name longer than this gets a line of its own, with its meaning under it.
LONGEST_NAME = 26


class Command(TyperCommand):
    """A command that says its help in our words."""

    def get_help(self, ctx) -> str:
        return command_help(self, ctx.command_path, terminal_width())

    def get_usage(self, ctx) -> str:
        return usage(self, ctx.command_path, terminal_width())


class Group(TyperGroup):
    """The whole application, likewise."""

    def get_help(self, ctx) -> str:
        return group_help(self, ctx.command_path, terminal_width())

    def list_commands(self, ctx):
        """In the order of the work, not of the alphabet."""
        return list(self.commands)


def terminal_width() -> int:
    return max(40, min(shutil.get_terminal_size((80, 24)).columns, WIDEST))


def command_help(command, path: str, width: int) -> str:
    """Help of one command, ``path`` as it is called (``callkey label``)."""
    arguments, options = _parameters(command)
    parts = [usage(command, path, width), *_paragraphs(command.help, width)]
    if arguments:
        parts.append("Arguments:\n" + _list(arguments, width))
    parts.append("Options:\n" + _list(options, width))
    parts.append("Example:\n  " + example(command))
    return "\n\n".join(parts)


def group_help(group, path: str, width: int) -> str:
    """Help of the application: what it is for and its commands, a line each."""
    _, options = _parameters(group)
    commands = [(name, brief(command)) for name, command in group.commands.items() if not command.hidden]
    return "\n\n".join(
        [
            f"Usage: {path} COMMAND …",
            *_paragraphs(group.help, width),
            "Commands:\n" + _list(commands, width),
            "Options:\n" + _list(options, width),
            "Start with:\n  " + example(group),
        ]
    )


def brief(command) -> str:
    """The first sentence of a command's help, for the list of commands."""
    return " ".join(command.help.split("\n\n")[0].split()).split(". ")[0].rstrip(".")


def example(command) -> str:
    """The line that can be pasted."""
    return command.epilog.strip()


def usage(command, path: str, width: int) -> str:
    """``Usage: callkey label PATH… --key KEY [options]``: what must be given is spelled out."""
    words = [path]
    for each in command.params:
        if each.param_type_name == "argument":
            words.append(_placeholder(each) if each.required else f"[{_placeholder(each)}]")
        elif each.required:
            words.append(f"{each.opts[0]} {each.metavar}")
    line = " ".join([*words, "[options]"])
    return textwrap.fill(
        line,
        width,
        initial_indent="Usage: ",
        subsequent_indent="       ",
        break_long_words=False,
        break_on_hyphens=False,
    )


def _placeholder(argument) -> str:
    return f"{argument.metavar}{'…' if argument.nargs != 1 else ''}"


def _parameters(command):
    """Names and meanings of arguments and of options, each in the order declared."""
    arguments, options = [], []
    for each in command.params:
        if each.param_type_name == "argument":
            arguments.append((_placeholder(each), each.help))
            continue
        name = ", ".join(each.opts) + ("" if each.is_flag else f" {each.metavar}")
        options.append((name, each.help + (" Must be given." if each.required else "")))
    return arguments, [*options, ("-h, --help", "Show this help and stop.")]


def _paragraphs(text, width):
    blocks = (" ".join(block.split()) for block in text.strip().split("\n\n"))
    return [textwrap.fill(block, width, initial_indent="  ", subsequent_indent="  ") for block in blocks]


def _list(pairs, width):
    """Names to the left, meanings aligned beside them."""
    column = 2 + min(max(len(name) for name, _ in pairs), LONGEST_NAME) + 2
    lines = []
    for name, meaning in pairs:
        folded = textwrap.wrap(meaning, width - column)
        if len(name) > LONGEST_NAME:
            lines.append(f"  {name}")
        else:
            lines.append(f"  {name}".ljust(column) + folded.pop(0))
        lines.extend(" " * column + line for line in folded)
    return "\n".join(lines)
