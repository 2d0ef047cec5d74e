"""What helps when the bed was not found: printed cards, places named by hand, or another place for the camera."""

from __future__ import annotations

from dataclasses import replace

from bedwatch.aim.types import NotFound, Problem, ProblemKind

BY_HAND = "if you can see the bed in the picture, click on it: aim again with --by-hand"
BY_CARDS = "lay printed cards on the still powder (bedwatch sheet) and aim with --marks"


def with_ways_out(refusal: NotFound, *, by_cards: bool = False) -> NotFound:
    """The refusal with the way out that helps with it.

    A picture that shows nothing needs light, not another way to look: nothing is added then. by_cards: cards were looked
    for and not found, so they are not offered again.
    """
    if _blind(refusal):
        return refusal
    ways = f"{BY_HAND[0].upper()}{BY_HAND[1:]}." if by_cards else f"Or {BY_HAND}; or {BY_CARDS}."
    advice = f"{refusal.advice.rstrip()} {ways}"
    sentence = Problem(kind=ProblemKind.BED_NOT_FOUND, advice=f"The bed was not found: {refusal.reason}. {advice}")
    problems = tuple(sentence if p.kind is ProblemKind.BED_NOT_FOUND else p for p in refusal.problems)
    return replace(refusal, advice=advice, problems=problems)


def _blind(refusal: NotFound) -> bool:
    """Whether nobody could see a bed in this picture."""
    return refusal.reason.startswith("the picture is ")


__all__ = ["with_ways_out"]
