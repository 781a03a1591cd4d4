"""Words to the terminal: nothing in a file's name, a photo's metadata or a note is obeyed by it."""

from __future__ import annotations

import sys

import click

from photoangle.output.plain import plain, plain_lines
from photoangle.output.wording import plain_signs


def say(text="", err=False):
    """Print a text; its line breaks are the program's own, every other control or direction character is
    masked; signs that the terminal cannot show are spelt."""
    stream = sys.stderr if err else sys.stdout
    click.echo(plain_signs(plain_lines(text), getattr(stream, "encoding", None)), err=err)


def say_paths(title, paths):
    """Print a title and paths below it, one a line."""
    say("\n  ".join([title, *(plain(p) for p in paths)]))
