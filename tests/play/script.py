"""Reads a play: lines of a small language into steps. `tests/play/run
--help` tells the language."""

import re

UNITS = {"minute": 60, "hour": 3600, "day": 86400, "week": 7 * 86400}
ROLES = ("coordinator", "field", "workshop", "phone")
TABLES = {
    "places": "place",
    "batches": "batch",
    "pots": "serial",
    "tests": "serial",
    "homes": "home",
    "handovers": "serial",
}


class ScriptError(Exception):
    """A line that is not of the language."""


class Step:
    """One line, with the lines that belong to it."""

    def __init__(self, line, kind, **args):
        self.line, self.kind = line, kind
        self.block = []
        self.__dict__.update(args)


# Each row: what the line looks like, and the kind of step it is.
FORMS = [
    ("title", r"title (?P<text>.+)"),
    ("zone", r"zone (?P<zone>\S+)"),
    ("set", r"set (?P<text>\w+ = .+)"),
    ("digest", r"digest at (?P<at>\d\d:\d\d)"),
    ("person", r"(?P<role>coordinator|field|workshop|phone) (?P<name>\w+) "
               r"(?P<number>\S+)(?: (?P<lang>[a-z]{2,3}))?"),
    ("valley", r"the whole Sele valley"),
    ("table", r"notebook (?P<table>\w+)"),
    ("place", r"place (?P<name>[^,]+), (?P<lang>[a-z]+)"
              r"(?:, water (?P<water>[\d.]+))?"),
    ("batch", r"batch (?P<code>\d+), (?P<pots>\d+) pots"
              r"(?:, (?P<more>.+))?"),
    ("home", r"(?P<name>\w+) lives in (?P<place>[^,]+)"
             r"(?:, (?P<people>\d+) people)?(?:, (?P<lang>[a-z]{2,3}))?"),
    ("has", r"(?P<name>\w+) has (?P<serial>[\d-]+) since (?P<day>\S+)"),
    ("crowd", r"homes in (?P<place>[^,]+) have (?P<batch>\d+) pots "
              r"(?P<first>\d+) to (?P<last>\d+) since (?P<day>\S+)"),
    ("clock", r"it is (?P<at>\d{4}-\d\d-\d\d \d\d:\d\d)"),
    ("later", r"(?P<count>\d+) (?P<unit>minute|hour|day|week)s? later"),
    ("next", r"next (?P<at>\d\d:\d\d)"),
    ("until", r"until (?P<at>\d{4}-\d\d-\d\d \d\d:\d\d) (?P<name>\w+) hears only: "
              r"(?P<text>.*)"),
    ("die", r"the power fails"),
    ("start", r"the line starts again"),
    ("file", r"file (?P<name>[\w.-]+)"),
    ("run", r"run (?P<words>.+?)(?: exits (?P<code>\d+))?"),
    ("dials", r"(?P<name>\w+) dials"),
    ("presses", r"(?P<name>\w+) presses (?P<keys>\S+)(?P<again> again)?"),
    ("cut", r"(?P<name>\w+) is cut off"),
    ("sees", r"(?P<name>\w+) sees: (?P<text>.*)"),
    ("silence", r"(?P<name>\w+) hears nothing"),
    ("hears", r"(?P<name>\w+) hears: (?P<text>.*)"),
    ("says", r"(?P<name>the home of [\d-]+|\w+)"
             r"(?P<how> \(id (?P<id>\S+)\)| by folder)?: (?P<text>.*)"),
]
FORMS = [(kind, re.compile(pattern + r"\Z")) for kind, pattern in FORMS]
WITH_BLOCK = {"run", "file", "table"}


def read(path):
    """The steps of a play; ScriptError names file and line."""
    steps = []
    with open(path, encoding="utf-8") as f:
        for number, raw in enumerate(f, 1):
            line = raw.rstrip("\n")
            if not line.strip() or line.startswith("#"):
                continue
            if line[0].isspace():
                _continue(path, number, steps, line.strip())
                continue
            steps.append(_step(path, number, line.rstrip()))
    if not steps or steps[0].kind != "title":
        raise ScriptError("%s:1: a play begins with `title …`" % path)
    return steps


def _step(path, number, line):
    for kind, pattern in FORMS:
        m = pattern.match(line)
        if m:
            return Step(number, kind, **m.groupdict())
    raise ScriptError("%s:%d: this is not of the language: %s"
                      % (path, number, line))


def _continue(path, number, steps, text):
    """An indented line belongs to the step above it."""
    if steps and steps[-1].kind in WITH_BLOCK and text.startswith("|"):
        steps[-1].block.append(text[1:].removeprefix(" ").rstrip())
    elif steps and steps[-1].kind in ("hears", "says", "until", "sees"):
        steps[-1].text = (steps[-1].text + " " + text).strip()
    else:
        raise ScriptError("%s:%d: an indented line that belongs to nothing"
                          % (path, number))


def matches(pattern, text):
    """Literal words, any spacing; … stands for anything."""
    parts = [re.escape(_squeeze(p)).replace(r"\ ", r"\s+")
             for p in re.split(r"\s*…\s*", pattern)]
    return re.fullmatch(r"\s*" + r".*?".join(parts) + r"\s*", text,
                        re.S) is not None


def _squeeze(text):
    return re.sub(r"\s+", " ", text)


def block_matches(block, lines):
    """Lines one by one; a line that is only … stands for any number of them.
    None when all match, else the first line of the block that does not."""
    lines = [x.rstrip() for x in lines]
    while lines and not lines[-1]:
        lines.pop()
    at, free = 0, False
    for want in block:
        if want == "…":
            free = True
            continue
        while at < len(lines) and free and not matches(want, lines[at]):
            at += 1
        if at >= len(lines) or not matches(want, lines[at]):
            return want
        at, free = at + 1, False
    if at < len(lines) and not free:
        return "(the end)"
    return None
