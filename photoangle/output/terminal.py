"""Words to the terminal: nothing in a file's name, a photo's metadata or a note is obeyed by it."""

from __future__ import annotations

import click

from photoangle.output.plain import plain, plain_lines


def say(text="", err=False):
    """Print a text; its line breaks are the program's own, every other control or direction character is
    masked."""
    click.echo(plain_lines(text), err=err)


def say_paths(title, paths):
    """Print a title and paths below it, one a line."""
    say("\n  ".join([title, *(plain(p) for p in paths)]))
