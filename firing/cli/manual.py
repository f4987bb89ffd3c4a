"""The manual page: every command's help as one page for ``man``."""

from __future__ import annotations

import click


def manual_page(group: click.Group, version: str) -> str:
    """Return the commands of a group as a manual page, in the macros of man(7)."""
    context = click.Context(group, info_name="firing")
    lines = [
        f'.TH FIRING 1 "" "firing {version}"',
        ".SH NAME",
        "firing \\- plan, forecast, watch and review the firings of a studio pottery kiln",
        ".SH SYNOPSIS",
        "firing COMMAND [OPTIONS] [ARGUMENTS]",
        ".SH COMMANDS",
    ]
    for name in group.list_commands(context):
        command = group.get_command(context, name)
        assert command is not None
        lines += _command(command, click.Context(command, context, name))
        if isinstance(command, click.Group):
            inner = click.Context(command, context, name)
            for sub, one in command.commands.items():
                lines += _command(one, click.Context(one, inner, sub))
    lines += [".SH EXIT STATUS", "0 done; 1 something to act on; 2 usage or a faulty file."]
    return "\n".join(lines)


def _command(command: click.Command, context: click.Context) -> list[str]:
    usage = " ".join(command.collect_usage_pieces(context))
    lines = [f".SS {_escaped(context.command_path)} {_escaped(usage)}"]
    for paragraph in (command.help or "").split("\n\n"):
        lines += [".PP", _escaped(" ".join(paragraph.split()))]
    for parameter in command.get_params(context):
        record = parameter.get_help_record(context)
        if record is not None and record[1]:
            lines += [".TP", f".B {_escaped(record[0])}", _escaped(record[1])]
    if command.epilog:
        lines += [".PP", _escaped(command.epilog)]
    return lines


def _escaped(text: str) -> str:
    """Return text that no macro is read into: a backslash, a hyphen, and a leading dot or quote."""
    text = text.replace("\\", "\\e").replace("-", "\\-")
    return f"\\&{text}" if text[:1] in (".", "'") else text
