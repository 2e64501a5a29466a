"""Scripts that complete the command line in a shell, written from its parser, so that they cannot go stale.

Words that the parser knows (commands, options, choices) are completed; where a value is free, files are.
"""

from __future__ import annotations

import argparse
import re
from collections.abc import Iterator
from dataclasses import dataclass

_SAFE = re.compile(r"[A-Za-z0-9._=+-]+")


@dataclass(frozen=True, slots=True)
class Word:
    """One word that may follow, and what it is for."""

    text: str
    help: str
    values: tuple[str, ...] = ()  # of an option that has choices
    takes_value: bool = False


@dataclass(frozen=True, slots=True)
class Level:
    """What may follow after the words of a path such as ("sweep", "read")."""

    path: tuple[str, ...]
    commands: tuple[Word, ...]
    options: tuple[Word, ...]
    places: tuple[str, ...]  # choices of free-standing arguments


def levels(parser: argparse.ArgumentParser, path: tuple[str, ...] = ()) -> Iterator[Level]:
    """Yield the parser's own level, then those of its commands.

    Raises
    ------
    ValueError
        for a word that a shell could take for something else; none of ours is one.
    """
    commands: list[Word] = []
    options: list[Word] = []
    places: list[str] = []
    below: list[Level] = []
    for action in parser._actions:
        values = () if action.choices is None else tuple(str(choice) for choice in action.choices)
        if isinstance(action, argparse._SubParsersAction):
            told = {one.dest: one.help or "" for one in action._choices_actions}
            for name, inner in action.choices.items():
                commands.append(Word(name, told.get(name, "")))
                below += levels(inner, (*path, name))
        elif action.option_strings:
            takes = action.nargs != 0
            options += [Word(text, _help(action), values, takes) for text in action.option_strings]
        else:
            places += values
    words = [*path, *places, *(w.text for w in (*commands, *options)), *(v for w in options for v in w.values)]
    for word in words:
        if not _SAFE.fullmatch(word):
            raise ValueError(f"{word!r} is no word to complete")
    yield Level(path, tuple(commands), tuple(options), tuple(places))
    yield from below


def script(parser: argparse.ArgumentParser, shell: str) -> str:
    """Return the script for ``bash``, ``zsh`` or ``fish``."""
    found = tuple(levels(parser))
    if shell == "fish":
        return _fish(parser.prog, found)
    body = _bash(parser.prog, found)
    if shell == "zsh":
        return f"#compdef {parser.prog}\nautoload -U +X bashcompinit && bashcompinit\n{body}"
    return body


def _help(action: argparse.Action) -> str:
    return "" if action.help in (None, argparse.SUPPRESS) else str(action.help).replace("%%", "%")


def _bash(prog: str, found: tuple[Level, ...]) -> str:
    """Return one function: it finds the path of commands on the line, then offers the words of that level."""
    steps, offers, values = [], [], []
    for level in found:
        here = "/".join(level.path)
        steps += [
            f"      '{here}:{word.text}') at='{'/'.join((*level.path, word.text))}' ;;" for word in level.commands
        ]
        words = [word.text for word in (*level.commands, *level.options)] + list(level.places)
        offers.append(f"    '{here}') offer='{' '.join(words)}' ;;")
        for word in level.options:
            if word.values:
                values.append(f"    '{here}:{word.text}') offer='{' '.join(word.values)}' ;;")
            elif word.takes_value:
                values.append(f"    '{here}:{word.text}') offer='' ;;")
    return "\n".join(
        [
            f"# Completion for {prog}; load it with: source <({prog} completion bash)",
            f"_{prog}() {{",
            '  local current="${COMP_WORDS[COMP_CWORD]}" before="${COMP_WORDS[COMP_CWORD-1]}" at="" offer="" i',
            "  for ((i = 1; i < COMP_CWORD; i++)); do",
            '    case "$at:${COMP_WORDS[i]}" in',
            *steps,
            "    esac",
            "  done",
            '  case "$at" in',
            *offers,
            "  esac",
            '  case "$at:$before" in',
            *values,
            "  esac",
            "  COMPREPLY=()",
            # zsh's compgen prints an empty line where nothing fits; `words` and `path` are names of zsh's own
            '  while IFS= read -r i; do [[ -n $i ]] && COMPREPLY+=("$i"); done < <(compgen -W "$offer" -- "$current")',
            "}",
            f"complete -o default -F _{prog} {prog}",  # where nothing fits, files
            "",
        ]
    )


def _fish(prog: str, found: tuple[Level, ...]) -> str:
    lines = [f"# Completion for {prog}; load it with: {prog} completion fish | source"]
    for level in found:
        if level.path:
            seen = "; and ".join(f"__fish_seen_subcommand_from {name}" for name in level.path)
        else:
            seen = "__fish_use_subcommand"
        if level.path and level.commands:
            seen += f"; and not __fish_seen_subcommand_from {' '.join(word.text for word in level.commands)}"
        start = f"complete -c {prog} -n '{seen}'"
        lines += [f"{start} -f -a {word.text} -d {_fish_text(word.help)}" for word in level.commands]
        lines += [f"{start} -f -a {word}" for word in level.places]
        for word in level.options:
            name = f"-l {word.text[2:]}" if word.text.startswith("--") else f"-s {word.text[1:]}"
            value = f" -x -a '{' '.join(word.values)}'" if word.values else " -r" if word.takes_value else ""
            lines.append(f"{start} {name}{value} -d {_fish_text(word.help)}")
    return "\n".join(lines) + "\n"


def _fish_text(text: str) -> str:
    """Return text in fish's single quotes, within which only a backslash and the quote itself mean something."""
    return "'" + text.replace("\\", "\\\\").replace("'", "\\'").replace("\n", " ") + "'"
