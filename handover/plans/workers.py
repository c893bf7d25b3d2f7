"""Work handed out to several processes: each answer comes back as soon as it is there; a process that dies loses only the
piece that it had, and another takes its place.

Knows nothing of plans and imports nothing of ours, so that a process that starts from nothing (Windows, macOS) finds its
way in before Django is set up.
"""

from __future__ import annotations

import importlib
import multiprocessing
import os
import signal
from collections import deque
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from multiprocessing.connection import Connection, wait
from multiprocessing.process import BaseProcess
from typing import Any


@dataclass(frozen=True, slots=True)
class Lost:
    """In place of an answer: the piece of work raised an error, or (`has_died`) took its process with it."""

    why: str
    has_died: bool = False


@dataclass(slots=True)
class _Worker:
    process: BaseProcess
    pipe: Connection
    piece: Any = None


def worked_off(job: str, pieces: deque, count: int, start_method: str | None = None) -> Iterator[tuple[Any, Any]]:
    """Call `job` ("package.module:function") with every piece of work, a tuple of arguments; yields (piece, answer).

    `count` processes take the pieces in their order; with one, the work is done in this process. Whoever takes the
    answers may add further pieces meanwhile. Ending early ends the processes.
    """
    if count <= 1:
        while pieces:
            piece = pieces.popleft()
            yield piece, _answer(_function(job), piece)
        return
    context = multiprocessing.get_context(start_method)
    team: list[_Worker] = []
    try:
        yield from _by_a_team(job, pieces, count, context, team)
    finally:
        for worker in team:
            worker.pipe.close()
            worker.process.terminate()
        for worker in team:
            worker.process.join()


def _by_a_team(job: str, pieces: deque, count: int, context: Any, team: list[_Worker]) -> Iterator[tuple[Any, Any]]:
    while pieces or any(worker.piece is not None for worker in team):
        while pieces and len(team) < count:
            team.append(_start(job, context))
        for worker in team:
            _hand_out(worker, pieces)
        busy = {worker.pipe: worker for worker in team if worker.piece is not None}
        for pipe in wait(list(busy)):
            worker = busy[pipe]
            piece, worker.piece = worker.piece, None
            try:
                answer = worker.pipe.recv()
                _hand_out(worker, pieces)  # it goes on while its answer is being stored
            except (EOFError, OSError):
                answer = _end_of(worker, team)
            yield piece, answer


def _hand_out(worker: _Worker, pieces: deque) -> None:
    if worker.piece is None and pieces:
        worker.piece = pieces.popleft()
        try:
            worker.pipe.send(worker.piece)
        except OSError:  # it has just died: that shows when its answer is read
            pass


def _end_of(worker: _Worker, team: list[_Worker]) -> Lost:
    team.remove(worker)
    worker.pipe.close()
    worker.process.join()
    code = worker.process.exitcode or 0
    return Lost(f"signal {-code}" if code < 0 else f"exit status {code}", has_died=True)


def _start(job: str, context: Any) -> _Worker:
    from django.db import connections

    connections.close_all()  # two processes must never speak through one connection
    ours, theirs = context.Pipe()
    inherited = ours if context.get_start_method() == "fork" else None
    process = context.Process(target=_serve, args=(job, theirs, inherited), daemon=True)
    process.start()
    theirs.close()
    return _Worker(process, ours)


# --- in the other process -----------------------------------------------------------------------------------------


def _serve(job: str, pipe: Connection, inherited: Connection | None) -> None:
    """Answer one piece after the other until whoever asks closes the pipe or is gone."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl+C reaches every process of a terminal; the asker ends us
    signal.signal(signal.SIGTERM, signal.SIG_DFL)
    if inherited:
        inherited.close()  # else our own copy would keep the pipe open when the asker is gone
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "hospital.settings")
    import django

    django.setup()
    function = _function(job)
    while True:
        try:
            piece = pipe.recv()
            pipe.send(_answer(function, piece))
        except (EOFError, OSError):
            return


def _function(job: str) -> Callable:
    module, _, name = job.partition(":")
    return getattr(importlib.import_module(module), name)


def _answer(function: Callable, piece: tuple) -> Any:
    try:
        return function(*piece)
    except Exception as wrong:
        return Lost(f"{type(wrong).__name__}: {wrong}".strip(": "))
