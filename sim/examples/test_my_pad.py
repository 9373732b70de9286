"""Read this first: a design held to padbench from a test suite of its own.

Copy it beside your sheet. The marker names the sheet, whose [hdl] names your sources.
"""

import pytest


@pytest.mark.padbench(
    "../sheets/harbour-hdl.toml",
    scenarios=["each-button", "opposite-directions", "past-the-end", "stopped-last-bit"],
)
def test_my_pad(padbench_result):
    """All scenarios hold, and it was read at all."""
    padbench_result.check()
    assert padbench_result.result.reads > 30
