"""Sessions of these tests check nothing by themselves: each check is a process, and comes when a test asks for it."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from carvegen.interfaces.page.session import Session


@pytest.fixture(autouse=True, scope="module")
def no_checks_by_themselves() -> Iterator[None]:
    with pytest.MonkeyPatch.context() as here:
        here.setattr(Session, "rest_s", 3600.0)
        yield
