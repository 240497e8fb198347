"""Tasks that may be done side by side: what each is told, what it waits for."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from typing import Any

__all__ = ["Later", "Run", "Say", "Task", "Tasks", "in_turn", "ready_task"]

Say = Callable[[str], None]  #: is told of each stage
Task = Callable[[Say], Any]


@dataclass(frozen=True, kw_only=True, eq=False)
class Later:
    """A task that needs what others return; they come before it."""

    needs: Collection[str]  #: their names
    make: Callable[[Mapping[str, Any]], Task]  #: of what is done so far, by name; in the process that begins tasks


Tasks = Mapping[str, Task | Later]
Run = Callable[[Tasks, Say], dict[str, Any]]  #: does tasks, each once those that it needs are done


def ready_task(task: Task | Later, done: Mapping[str, Any]) -> Task:
    """A task all of whose needs are done."""
    return task.make(done) if isinstance(task, Later) else task


def in_turn(tasks: Tasks, say: Say) -> dict[str, Any]:
    """What each task returns, by name, done one after another."""
    done: dict[str, Any] = {}
    for name, task in tasks.items():
        done[name] = ready_task(task, done)(say)
    return done
