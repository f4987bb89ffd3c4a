"""The command line: one module a command family, loaded only when its command is called."""

import importlib
import os
import sys

import click

from firing.cli import outcome
from firing.version import __version__

COMMANDS: dict[str, tuple[str, str]] = {
    "forecast": ("firing.cli.forecast", "Say what a schedule will do: hours, cone, opening time."),
    "design": ("firing.cli.design", "Make the fastest schedule that is safe for a load."),
    "card": ("firing.cli.forecast", "Make the card to key a schedule from, with boxes to tick."),
    "calendar": ("firing.cli.forecast", "Put the moments of a firing into your calendar."),
    "resume": ("firing.cli.design", "Say what to key in after an interruption."),
    "guide": ("firing.cli.design", "Go from a fault of the ware to what to change in a plan."),
    "review": ("firing.cli.review", "Compare a log with its plan: where did the time go?"),
    "compare": ("firing.cli.review", "Lay several firings of one plan over each other."),
    "keep": ("firing.cli.logbook", "Keep the log of a firing in the logbook, or a folder of them."),
    "logbook": ("firing.cli.logbook", "List, find and compare kept firings; note what was done."),
    "fleet": ("firing.cli.fleet", "Review many logs at once: which kilns and plans need a look."),
    "watch": ("firing.cli.watch", "Watch a firing while it runs, and record it."),
    "notify": ("firing.cli.ports", "Show who gets messages of a firing, and try them."),
    "ports": ("firing.cli.ports", "List the serial ports of this computer."),
    "kiln": ("firing.cli.kiln", "Show a kiln, or learn it from its own logs."),
    "cone": ("firing.cli.cones", "Show the end points of a cone."),
    "hold": ("firing.cli.cones", "Say how long to hold at a temperature for a cone."),
    "peak": ("firing.cli.cones", "Say how hot to go for a cone, with a given hold."),
    "ways": ("firing.cli.cones", "List the holds, peaks and final rates that reach a cone."),
    "cone-at": ("firing.cli.cones", "Say which cone a few ramps and holds come to."),
    "heatwork": ("firing.cli.cones", "Say which cones a schedule or a log amounts to."),
    "edit": ("firing.cli.setup", "Open the screens: change a plan and see at once what it does."),
    "safety": ("firing.cli.ready", "Print the cautions, all or those of a schedule."),
    "schedules": ("firing.cli.ready", "List the ready schedules, or print one."),
    "schema": ("firing.cli.ready", "Print the JSON Schema of a kind of file."),
    "sources": ("firing.cli.ready", "List the sources of the figures, or print one."),
    "setup": ("firing.cli.setup", "Ask about your kiln and controller, and write their files."),
    "new": ("firing.cli.setup", "Write a schedule from a line of ramps and holds."),
    "demo": ("firing.cli.ready", "Review an invented firing that ran long."),
}
"""Every command with its module and its line in the list, so that the list loads none of them."""


GROUPS: dict[str, tuple[str, ...]] = {
    "Begin": ("demo", "setup", "new", "edit"),
    "Plan": ("forecast", "design", "card", "calendar", "guide", "kiln", "schedules"),
    "Fire": ("watch", "notify", "ports", "resume", "safety"),
    "Review": ("review", "compare", "heatwork"),
    "Remember": ("keep", "logbook", "fleet"),
    "Look up": ("cone", "hold", "peak", "ways", "cone-at", "schema", "sources"),
}
"""The commands in the groups that ``--help`` lists them in."""


EXAMPLES: dict[str, str] = {
    "forecast": "firing forecast thin-ware-bisque --kiln example-kiln --start 07:30",
    "design": "firing design bisque --cone 06 --load example-load-thin-cups --kiln example-kiln",
    "card": "firing card thin-ware-bisque --controller example-controller --start 20:00",
    "calendar": "firing calendar thin-ware-bisque --start 07:30 --out bisque.ics",
    "resume": "firing resume firing-demo/plan.toml firing-demo/log.csv",
    "guide": 'firing guide "black core" thin-ware-bisque',
    "review": "firing review firing-demo/plan.toml firing-demo/log.csv --html review.html",
    "compare": "firing compare --schedule firing-demo/plan.toml firing-demo/log.csv "
    "firing-demo/log.csv",
    "fleet": "firing fleet firing-demo/log.csv --plans firing-demo/plan.toml --out results",
    "watch": "firing watch firing-demo/log.csv --schedule firing-demo/plan.toml --every 4h",
    "keep": "firing keep firing-demo/log.csv --plan firing-demo/plan.toml --kiln example-kiln",
    "logbook": "firing logbook find good glaze march",
    "ports": "firing ports",
    "kiln": "firing kiln show example-kiln",
    "cone": "firing cone 6",
    "hold": "firing hold 6 --at 2190F",
    "peak": "firing peak 6 --hold 20m",
    "ways": "firing ways 6 --at-most 1200",
    "cone-at": 'firing cone-at "60C/h to 1200C hold 20m"',
    "heatwork": "firing heatwork firing-demo/log.csv",
    "edit": "firing edit thin-ware-bisque --kiln example-kiln",
    "safety": "firing safety thin-ware-bisque",
    "schedules": "firing schedules thin-ware-bisque --out bisque.toml",
    "schema": "firing schema kiln",
    "sources": "firing sources cone-chart-1996",
    "setup": 'firing setup --volume "7 cu ft" --wall "3 in"',
    "new": 'firing new "100C/h to 600C, 150C/h to 1000C hold 10m" --out plan.toml',
    "demo": "firing demo",
}
"""One example a command, at the foot of its help."""


class _Context(click.Context):
    """Help in the characters that stdout takes."""

    def get_help(self) -> str:
        """Return the page, with a plain counterpart for what the encoding does not have."""
        return outcome.readable(super().get_help(), sys.stdout)


class LazyCommands(click.Group):
    """A group that imports a command's module only to run that command."""

    context_class = _Context

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the commands in the order of a firing's round."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import and return one command."""
        if cmd_name not in COMMANDS:
            return None
        module = importlib.import_module(COMMANDS[cmd_name][0])
        command: click.Command = getattr(module, f"{cmd_name.replace('-', '_')}_command")
        inner = command.commands.values() if isinstance(command, click.Group) else ()
        for one in (command, *inner):
            one.context_class = _Context
        if cmd_name in EXAMPLES:
            command.epilog = f"Example: {EXAMPLES[cmd_name]}"
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the list from the table above, loading nothing."""
        grouped = {name for names in GROUPS.values() for name in names}
        rest = tuple(name for name in COMMANDS if name not in grouped)
        for heading, names in (*GROUPS.items(), *([("More", rest)] if rest else [])):
            shown = [(name, COMMANDS[name][1]) for name in names if name in COMMANDS]
            with formatter.section(heading):
                formatter.write_dl(shown)

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Find a command, and name the nearest one where there is none of that name."""
        if args and args[0] not in COMMANDS and not args[0].startswith("-"):
            import difflib

            near = difflib.get_close_matches(args[0], COMMANDS, n=1)
            meant = f"; did you mean '{near[0]}'?" if near else ""
            ctx.fail(f"no such command '{args[0]}'{meant}")
        return super().resolve_command(ctx, args)


def _manual_page(group: click.Group) -> str:
    """Return the commands of a group as a manual page, in the macros of man(7)."""
    context = click.Context(group, info_name="firing")
    lines = [
        f'.TH FIRING 1 "" "firing {__version__}"',
        ".SH NAME",
        "firing \\- plan, forecast, watch and review the firings of a studio pottery kiln",
        ".SH SYNOPSIS",
        "firing COMMAND [OPTIONS] [ARGUMENTS]",
        ".SH COMMANDS",
    ]
    for name in group.list_commands(context):
        command = group.get_command(context, name)
        assert command is not None
        lines += _manual_of(command, click.Context(command, context, name))
        if isinstance(command, click.Group):
            inner = click.Context(command, context, name)
            for sub, one in command.commands.items():
                lines += _manual_of(one, click.Context(one, inner, sub))
    lines += [".SH EXIT STATUS", "0 done; 1 something to act on; 2 usage or a faulty file."]
    return "\n".join(lines)


def _manual_of(command: click.Command, context: click.Context) -> list[str]:
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


def _print_manual(context: click.Context, parameter: click.Parameter, value: bool) -> None:
    if value:
        outcome.text(_manual_page(cli))
        context.exit()


@click.group(
    cls=LazyCommands,
    context_settings={"help_option_names": ["-h", "--help"]},
    epilog="This tool reads; it never switches a kiln. 'firing COMMAND --help' says more; "
    "'firing demo' shows it at work.",
)
@click.version_option(__version__, "--version", message="firing %(version)s")
@click.option(
    "--man",
    is_flag=True,
    is_eager=True,
    expose_value=False,
    callback=_print_manual,
    help="Print the manual page: firing --man > firing.1",
)
@click.option(
    "--debug", is_flag=True, help="Show where in the program a mistake of its own happened."
)
def cli(debug: bool) -> None:
    """Plan, forecast and review the firings of a studio pottery kiln."""
    outcome.DEBUG = debug


def main() -> None:
    """Run the command line and leave with its exit code."""
    # No command has products of large matrices; threads for them would only wait, and use the
    # processor while they do.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    outcome.run(cli)
