"""Cases that nothing is laid for are one test in a process of a run: each test costs more than most of them."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from itertools import groupby

import pytest
from _pytest.scope import Scope

CASES = pytest.StashKey[list[pytest.Function]]()


def together(items: Iterable[pytest.Item]) -> list[pytest.Item]:
    """The same in the same order, but one test for neighbouring cases of a function that share all that is laid."""
    done: list[pytest.Item] = []
    for _, group in groupby(items, key=lambda item: _shared(item) or id(item)):
        cases = list(group)
        done.append(_as_one(cases) if len(cases) > 1 else cases[0])
    return done


def _shared(item: pytest.Item) -> tuple[pytest.Collector | None, Callable] | None:
    """File and function of a case for which, beside its own values, only what its file or the run shares is laid."""
    if not isinstance(item, pytest.Function) or not hasattr(item, "callspec"):
        return None
    if item.cls or hasattr(item.obj, "hypothesis") or any(mark.name != "parametrize" for mark in item.iter_markers()):
        return None
    if any("indirect" in mark.kwargs for mark in item.iter_markers()):
        return None
    laid = item._fixtureinfo
    if "request" in laid.argnames or not set(item.callspec.params) <= _values(item):  # or a fixture has values
        return None
    others = set(laid.names_closure) - set(item.callspec.params) - {"request"}
    shared = all(laid.name2fixturedefs[name][-1]._scope is not Scope.Function for name in others)
    return (item.parent, item.function) if shared else None


def _values(item: pytest.Function) -> set[str]:
    """Names of the values that a test's own marks give to its cases."""
    named: set[str] = set()
    for mark in item.iter_markers("parametrize"):
        names = mark.args[0] if mark.args else mark.kwargs["argnames"]
        named |= {name.strip() for name in (names.split(",") if isinstance(names, str) else names)}
    return named


def _as_one(cases: list[pytest.Function]) -> pytest.Function:
    first = cases[0]
    one = pytest.Function.from_parent(
        first.parent,
        name=f"{first.originalname}[{len(cases)} cases]",
        callspec=first.callspec,
        callobj=first.obj,
        fixtureinfo=first._fixtureinfo,
        originalname=first.originalname,
    )
    one.stash[CASES] = cases
    return one


def cases_of(item: pytest.Item) -> list[pytest.Function]:
    """What an item of `together` stands for; nothing if it is a test like others."""
    return item.stash.get(CASES, [])


def run_cases(item: pytest.Function) -> bool | None:
    """Run all cases of an item, up to one that fails or is skipped; None if it is a test like others."""
    if not (cases := cases_of(item)):
        return None
    names = item._fixtureinfo.argnames
    for case in cases:
        item.obj(**{name: case.callspec.params.get(name, item.funcargs[name]) for name in names})
    return True
