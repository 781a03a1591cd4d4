"""`photoangle help`: the commands in working order, or one topic in full."""

from __future__ import annotations

from dataclasses import dataclass
from importlib.resources import files

from photoangle.carfile.template import all_keys_text
from photoangle.core.cautions import CAUTIONS
from photoangle.core.errors import CannotUse
from photoangle.core.progress import Progress
from photoangle.output.terminal import say

# Topic -> what it is about; each but the last two is a text beside this package's.
TOPICS = {
    "whole-job": "droop, set, ride and fitted: what to photograph, and how the car stands",
    "figures": "what the table of figures says, and what its plus-or-minus comes from",
    "link": "the link's length, what-ifs, by tape alone, left against right",
    "proof": "before and after, the season, the report",
    "one-photo": "one photo with plain stickers instead of markers",
    "page": "the whole job in a browser, from phone and laptop",
    "python": "the same from Python",
    "car.toml": "every key that the car's file may have",
    "cautions": "before you work on the car",
}


@dataclass(frozen=True)
class HelpOptions:
    """topic: one of TOPICS, or None for the list of them; units: of car.toml's examples."""

    topic: str | None = None
    units: str = "mm"


def help_command(options: HelpOptions, progress: Progress) -> int:
    """`photoangle help`.  Returns the exit code.  Raises InputError."""
    if options.topic is None:
        say("Topics, each as `photoangle help TOPIC`:\n")
        for name, words in TOPICS.items():
            say(f"  {name:11s} {words}")
        say("\nThe commands, in working order: photoangle --help")
        return 0
    say(topic_text(options.topic, options.units))
    return 0


def topic_text(topic: str, units: str = "mm") -> str:
    """The text of a topic.  Raises InputError for one that there is not."""
    if topic not in TOPICS:
        raise CannotUse("help", f"there is no topic {topic!r}", "use one of " + ", ".join(TOPICS))
    if topic == "car.toml":
        return all_keys_text(units).rstrip()
    if topic == "cautions":
        return "BEFORE YOU WORK ON THE CAR\n\n" + "\n".join(f"- {line}" for line in CAUTIONS)
    return (files("photoangle") / "topics" / f"{topic}.md").read_text(encoding="utf-8").rstrip()
