"""Finished values out: JSON lines for programs, a live screen or plain lines for people. Computes nothing."""

from bedwatch.show.json_read import parse_reading_line
from bedwatch.show.jsonl import json_line, problem_dicts, reading_dict, reading_line
from bedwatch.show.look import Look, look_for
from bedwatch.show.parts import CAUTIONS
from bedwatch.show.plain import PlainView, plain_line
from bedwatch.show.screen import screen

__all__ = [
    "CAUTIONS",
    "Look",
    "PlainView",
    "json_line",
    "look_for",
    "parse_reading_line",
    "plain_line",
    "problem_dicts",
    "reading_dict",
    "reading_line",
    "screen",
]
