"""`bedwatch practise`, driven through standard input."""

from __future__ import annotations

import io
from typing import Any

import pytest


@pytest.mark.parametrize("seed", [2, 4])
def test_following_the_advice_makes_the_bed_even(run: Any, monkeypatch: pytest.MonkeyPatch, seed: int) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO("a\n" * 20))
    ran = run("practise", "--seed", seed)
    assert ran.status == 0, ran.err
    assert "Even after" in ran.out


def test_own_moves_count_and_what_makes_no_sense_is_asked_for_again(run: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    typed = "9 less 0.2\n4 turn 0.2\n4 less 25\n\n4 less 0.1\nstir\ntruth\nq\n"
    monkeypatch.setattr("sys.stdin", io.StringIO(typed))
    ran = run("practise", "--seed", 6, "--no-advice")
    assert ran.status == 0, ran.err
    assert 'found the zone "9", expected 1, 2, 3' in ran.out
    assert 'found "4 turn 0.2"' in ran.out
    assert 'found "25"' in ran.out
    assert "Stopped after 2 moves" in ran.out
    assert "advice" not in ran.out


def test_the_end_of_the_input_ends_it(run: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO(""))
    ran = run("practise")
    assert ran.status == 0
    assert "Stopped after 0 moves" in ran.out
    assert run("practise", "--seed", -1).status == 2
