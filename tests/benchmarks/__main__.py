"""All figures in one table: `python -m tests.benchmarks` from the repository, `--quick` for a first look."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from concurrent.futures import Future, ProcessPoolExecutor, as_completed
from contextlib import contextmanager
from multiprocessing import get_context
from pathlib import Path
from typing import Annotated, Any

import typer
from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn
from rich.table import Table

REPOSITORY = Path(__file__).resolve().parents[2]
if str(REPOSITORY) not in sys.path:  # run as a folder rather than as a module
    sys.path.insert(0, str(REPOSITORY))

from tests.benchmarks import (  # noqa: E402
    aim_bare,
    aim_cost,
    aim_knocks,
    aim_marks,
    aim_problems,
    aim_scenes,
    beds,
    cost,
    crash,
    faults,
    fuzz,
    live,
    loop,
    on_screen,
    speeds,
    still,
    valves,
    way_back,
)
from tests.benchmarks.group import Group, Row  # noqa: E402

SEED_BASE = 41000  # of the shops that are aimed at: held out, nothing is chosen on them
MARKS = {True: "[green]met[/green]", False: "[bold red]not met[/bold red]", None: ""}


def all_groups(seed_base: int) -> tuple[Group, ...]:
    parts = (aim_scenes, aim_marks, aim_bare, aim_problems, aim_knocks, aim_cost)
    aiming = [group for part in parts for group in part.groups(seed_base)]
    return (
        beds.GROUP,
        *aiming,
        faults.FAULTS,
        faults.DIRT,
        loop.GROUP,
        valves.VALVES,
        still.STILL,
        speeds.SPEEDS,
        fuzz.FUZZ,
        way_back.WAY_BACK,
        way_back.DRAWN,
        crash.CRASH,
        cost.COST,
        cost.DEMO_CLIP,
        live.LIVE,
        on_screen.SCREEN,
    )


def measure(groups: list[Group], quick: bool, workers: int, console: Console) -> dict[str, list[Row]]:
    """Run every job; what measures cost runs after all else, one at a time."""
    results: dict[str, list[Any]] = {}
    with _progress(console) as progress:
        beside = [group for group in groups if not group.alone]
        if beside:
            with ProcessPoolExecutor(workers, mp_context=get_context("spawn")) as pool:
                results |= _run(pool, beside, quick, progress)
        for group in (group for group in groups if group.alone):
            task = progress.add_task(group.words, total=None)
            jobs = group.jobs(quick)
            results[group.name] = [group.run(job) for job in jobs]
            progress.update(task, total=len(jobs), completed=len(jobs))
    return {group.name: group.rows(results[group.name]) for group in groups}


def _run(pool: ProcessPoolExecutor, groups: list[Group], quick: bool, progress: Progress) -> dict[str, list[Any]]:
    task_of: dict[Future[Any], Any] = {}
    futures: dict[str, list[Future[Any]]] = {}
    for group in groups:
        jobs = group.jobs(quick)
        task = progress.add_task(group.words, total=len(jobs))
        futures[group.name] = [pool.submit(group.run, job) for job in jobs]
        task_of |= dict.fromkeys(futures[group.name], task)
    for number, done in enumerate(as_completed(task_of), 1):
        progress.advance(task_of[done])
        if not progress.console.is_terminal:
            progress.console.print(f"{number} of {len(task_of)} runs done")
    return {name: [future.result() for future in ours] for name, ours in futures.items()}


@contextmanager
def _progress(console: Console) -> Iterator[Progress]:
    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeElapsedColumn())
    with Progress(*columns, console=console, transient=True) as progress:
        yield progress


def show(found: dict[str, list[Row]], console: Console) -> None:
    """The table, and below it what failed, scene by scene."""
    shown = Table(title="bedwatch, figures", show_lines=True)
    for name in ("figure", "asked", "reached", "", "note"):
        shown.add_column(name, overflow="fold", min_width=7 if not name else None)
    rows = [row for group in found.values() for row in group]
    for row in rows:
        shown.add_row(row.figure, row.asked, row.reached, MARKS[row.met], row.note)
    console.print(shown)
    for row in rows:
        if row.failures:
            console.print(f"\n{row.figure}:", style="bold")
            for failure in row.failures:
                console.print(f"  {failure}", markup=False, highlight=False, soft_wrap=True)


def main(
    only: Annotated[
        list[str] | None, typer.Option(help="One group of figures (aim: all about aiming); may be given again.")
    ] = None,
    quick: Annotated[bool, typer.Option("--quick", help="Fewer scenes, one repetition.")] = False,
    workers: Annotated[int, typer.Option(min=1, help="Processes beside each other.")] = 2,
    seed_base: Annotated[
        int, typer.Option(help="First seed of the shops aimed at; give another to work on aiming.")
    ] = SEED_BASE,
) -> None:
    """Measure bedwatch and print one table of figures."""
    groups = all_groups(seed_base)
    names = list(dict.fromkeys(name for group in groups for name in (group.section, group.name) if name))
    unknown = sorted(set(only or ()) - set(names))
    if unknown:
        raise typer.BadParameter(f"found {', '.join(unknown)}; expected {', '.join(names)}", param_hint="--only")
    chosen = [group for group in groups if not only or group.name in only or group.section in only]
    console = Console(width=None if sys.stdout.isatty() else 160)
    show(measure(chosen, quick, workers, Console(stderr=True)), console)


if __name__ == "__main__":
    typer.run(main)
