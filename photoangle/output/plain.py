"""Text from outside (a file's name, a photo's metadata, a note) without what a terminal or a reader would
obey."""

from __future__ import annotations


def plain(text):
    """The text with control, direction and line-break characters as question marks."""
    return "".join(c if c.isprintable() else "?" for c in str(text))


def plain_lines(text):
    """`plain` of each line, for texts whose line breaks are the program's own."""
    return "\n".join(plain(line) for line in str(text).split("\n"))


def plain_value(value):
    """`plain` of a str, anything else as it is: what a template prints goes through this."""
    return plain(value) if type(value) is str else value
