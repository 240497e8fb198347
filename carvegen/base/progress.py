"""How far a piece of work is: it tells from inside which share is done, and whoever listens tells the person.

Whoever calls what tells gives it its `part` of the work, or what it tells is taken for the share of all of it. It
changes no result, and costs nothing where nobody listens.
"""

from __future__ import annotations

import contextlib
import itertools
import math
import time
from collections.abc import Callable, Iterator, Sequence
from contextvars import ContextVar

__all__ = [
    "AGAIN_S", "GUESSED", "SOON_S", "Stages", "TimeLeft", "all_reached", "each_part", "each_stretch", "followed",
    "halves", "heard", "part", "reached",
]  # fmt: skip

SOON_S = 2.0  #: for so long nobody asks how far it is
AGAIN_S = 30.0  #: after so long without a word it is told again

GUESSED = 0.05  #: of less that is done nothing is guessed

_Hear = Callable[[float], None]
_Listener = ContextVar[_Hear | None]

#: Is told of the share of the work at hand that is done; None: nobody listens.
_HEARD: _Listener = ContextVar("_HEARD", default=None)

#: Is told of the share of all the work that is done, whatever stages it has; None: nobody follows it.
_FOLLOWED: _Listener = ContextVar("_FOLLOWED", default=None)


class TimeLeft(str):
    """What is told between the stages: how far they are, for those who don't know by other means."""

    __slots__ = ()


def reached(share: float) -> None:
    """Tell whoever listens that this share of the work at hand is done, 0…1."""
    _say(_HEARD, share)


def _say(listener: _Listener, share: float) -> None:
    hear = listener.get()
    if hear is not None:
        hear(share)


def heard(hear: _Hear | None) -> contextlib.AbstractContextManager[None]:
    """While it lasts `hear` is told of the shares that are done; None: nobody is."""
    return _listening(_HEARD, hear)


@contextlib.contextmanager
def _listening(listener: _Listener, hear: _Hear | None) -> Iterator[None]:
    before = listener.set(hear)
    try:
        yield
    finally:
        listener.reset(before)


def part(begin: float, end: float) -> contextlib.AbstractContextManager[None]:
    """While it lasts the work at hand is that from `begin` to `end`, shares 0…1, of the work at hand outside."""
    return _part(_HEARD, begin, end)


@contextlib.contextmanager
def _part(listener: _Listener, begin: float, end: float) -> Iterator[None]:
    hear = listener.get()
    if hear is None:
        yield
        return
    with _listening(listener, lambda share: hear(begin + (end - begin) * share)):
        yield
    hear(end)


def each_part(weights: Sequence[float]) -> Iterator[contextlib.AbstractContextManager[None]]:
    """For each weight the next part of the work at hand, which takes so much of the time beside the others.

    If none weighs anything, all take as much.
    """
    return (part(begin, end) for begin, end in _shares(weights))


def _shares(weights: Sequence[float]) -> Iterator[tuple[float, float]]:
    ends = [0.0, *itertools.accumulate(weights if any(weights) else [1.0] * len(weights))]
    return ((begin / ends[-1], end / ends[-1]) for begin, end in itertools.pairwise(ends))


def followed(follow: _Hear) -> contextlib.AbstractContextManager[None]:
    """While it lasts `follow` is told, at the end of each stretch of the work, which share of all of it is done."""
    return _listening(_FOLLOWED, follow)


def all_reached(share: float) -> None:
    """Tell whoever follows that this share of the stretch at hand is done, 0…1."""
    _say(_FOLLOWED, share)


def each_stretch(weights: Sequence[float]) -> Iterator[contextlib.AbstractContextManager[None]]:
    """The same as `each_part` of all the work, over its stages: each stretch may have stages, and stretches, inside."""
    return (_part(_FOLLOWED, begin, end) for begin, end in _shares(weights))


def halves() -> Iterator[contextlib.AbstractContextManager[None]]:
    """Parts of the work at hand where nobody knows how many come: each is half of what is left."""
    return (part(1 - 0.5**nth, 1 - 0.5 ** (nth + 1)) for nth in itertools.count())


class Stages:
    """Tells of each stage, and while one goes on for long how far it is: ever more seldom, with the time left.

    It is what is told of stages, and its `hear` what listens to their shares.
    """

    def __init__(self, say: Callable[[str], None], *, clock: Callable[[], float] = time.monotonic) -> None:
        self._say, self._clock = say, clock
        self.begin("")

    def __call__(self, stage: str) -> None:
        """A stage begins and is told, or it is told how far it is."""
        if not isinstance(stage, TimeLeft):
            self.begin(stage)
        self._say(stage)

    def begin(self, stage: str) -> None:
        """A stage begins of which nothing is told as long as it is short."""
        self._stage, self._since, self._next_s, self._share = stage, self._clock(), SOON_S, 0.0

    def hear(self, share: float) -> None:
        """So much of the stage is done, 0…1; less than before is taken for no more."""
        passed, self._share = self._clock() - self._since, max(self._share, share)
        if not self._stage or passed < self._next_s or not GUESSED <= self._share < 1:
            return
        self._next_s = passed + min(passed, AGAIN_S)
        left = math.ceil(passed / self._share - passed)
        self._say(TimeLeft(f"{self._stage}: {math.floor(100 * self._share)} % done, about {left} s to go"))
