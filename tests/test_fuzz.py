"""All parsers of uploaded things, fuzzed for a moment; `tests/benchmarks/fuzz.py` does so for ten minutes."""

from __future__ import annotations

import pytest
from app_fuzz import TARGETS
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

MOMENT = settings(max_examples=25, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))


@pytest.mark.parametrize("name", TARGETS)
def test_it_refuses_what_it_cannot_read_and_never_falls_over(name: str) -> None:
    target = TARGETS[name]
    strategy: st.SearchStrategy[object] = target.values()
    MOMENT(given(strategy)(target.run))()
