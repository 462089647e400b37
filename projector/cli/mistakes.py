"""What is wrong with a command line, as faults: the library's errors by their kind, options under the names typed."""

from __future__ import annotations

import re
from dataclasses import replace

import typer
from typer.core import TyperCommand, TyperGroup

from projector.answers.typed import Mistyped, example_of
from projector.cli.numbers import option_name
from projector.faults import Fault
from projector.phrases import did_you_mean, nearest

# The library's own word for a wrong command line, which it keeps to itself.
UsageError = typer.BadParameter.__base__
_STARTS_BELOW_ZERO = re.compile(r"-[\d.][^,]*,[^,]+,[^,]+$")
# Options that share their name with a part of a scene, which a fault may be about instead.
_PARTS = ("scene", "projector", "surface")


class Command(TyperCommand):
    """A command that says in our words which of the things typed nothing takes."""

    def parse_args(self, ctx, args):
        try:
            rest = super().parse_args(ctx, self._with_points_in_brackets(args))
        except UsageError as error:
            error.ctx = error.ctx or ctx
            raise
        if rest and not ctx.resilient_parsing:
            raise Mistyped(Fault(f"nothing takes {' '.join(rest)}", try_=help_for(self.name)))
        return rest

    def _with_points_in_brackets(self, args: list[str]) -> list[str]:
        """Points among the arguments that begin with a minus, -0.5,1.5,0, in brackets, which they may have: no options
        for that.
        """
        takes_value = {name for item in self.params if not getattr(item, "is_flag", False) for name in item.opts}
        before = ["", *args]
        return [
            f"[{text}]" if _STARTS_BELOW_ZERO.match(text) and before[i] not in takes_value else text
            for i, text in enumerate(args)
        ]


class Commands(TyperGroup):
    """The commands; another word is refused in our words."""

    def resolve_command(self, ctx, args):
        name = args[0]
        if not name.startswith("-") and self.get_command(ctx, name) is None:
            near = did_you_mean(nearest(name, self.commands), otherwise=help_for(None))
            raise Mistyped(Fault(f'there is no command "{name}"', try_=near))
        return super().resolve_command(ctx, args)


def speak_our_words(app: typer.Typer) -> None:
    """Let every command of the application say what nothing takes in our words."""
    for item in app.registered_commands:
        item.cls, item.context_settings = Command, {**(item.context_settings or {}), "allow_extra_args": True}


def help_for(command: str | None) -> str:
    """Where help is to be found."""
    if command is None:
        return "`projector --help` lists the commands"
    return f"`projector {command} --help` says what it takes"


def fault_of(error, command: str | None) -> Fault:
    """A usage error of the command line's library as a fault, under the option's or the argument's own name."""
    kind, parameter = type(error).__name__, getattr(error, "param", None)
    key = getattr(error, "param_hint", None) or getattr(error, "option_name", None)
    if key is None and parameter is not None:
        key = next((text for text in parameter.opts if text.startswith("--")), (parameter.name or "").upper())
    help_ = help_for(command)
    if kind == "MissingParameter":
        return Fault("this is missing", try_=help_, key=key)
    if kind == "NoSuchOption":
        return Fault(
            "there is no such option", try_=did_you_mean(*sorted(error.possibilities or ()), otherwise=help_), key=key
        )
    if kind == "BadOptionUsage":
        found = "it takes no value" if _is_flag(error) else "a value is missing after it"
        return Fault(found, try_=help_, key=key)
    return Fault(error.message, try_=help_, key=key)


def _is_flag(error) -> bool:
    """Whether the option that an error is about takes no value."""
    options = error.ctx.command.params if error.ctx is not None else ()
    return any(getattr(option, "is_flag", False) and error.option_name in option.opts for option in options)


def as_typed(fault: Fault, options: dict) -> Fault:
    """A fault of a value that was typed, under the option's name: --throw-m for throw_m."""
    if fault.file is not None or fault.key not in options or (fault.key in _PARTS and not fault.example):
        return fault
    option = option_name(fault.key)
    example = fault.example or (example_of(fault.key) if isinstance(fault.value, (int, float)) else "")
    return replace(fault, key=option, try_=fault.try_ or (f"{option} {example}" if example else ""))


def in_typed_words(fault: Fault) -> Fault:
    """A fault with what to try as it is typed, where a command line has words of its own for it."""
    return replace(fault, try_=fault.typed) if fault.typed else fault


def with_help(fault: Fault, command: str | None) -> Fault:
    """A fault of what was typed, with what to try under its option, or else where help is."""
    option = option_name(fault.key) if fault.key else None
    try_ = f"{option} {fault.example}" if fault.example else help_for(command)
    return replace(fault, key=option, try_=fault.try_ or try_)
