"""``pytest tests/golden --renew`` writes the golden files; ``git diff`` then shows the change."""

from __future__ import annotations

import pytest


def pytest_addoption(parser: pytest.Parser) -> None:
    """Add ``--renew``."""
    parser.addoption("--renew", action="store_true", help="Write the golden files anew.")


@pytest.fixture
def renew(request: pytest.FixtureRequest) -> bool:
    """Whether golden files are written instead of compared."""
    return bool(request.config.getoption("--renew", default=False))
