"""Every field of lights without a gate, of their power and of gear is changed, one at a time: a session shows each
change as a new one does.
"""

from __future__ import annotations

import pytest

from tests.conftest import mostly_slow
from tests.rendering.test_every_field import all_changes, shown_wrongly


@pytest.fixture(scope="module")
def changes():
    """All changes of the scene with lights."""
    return [change for change in all_changes() if change[0] == "lit"]


@pytest.mark.parametrize("share", mostly_slow(range(12), quick=0))
def test_a_session_shows_every_change_of_a_light_as_a_new_session_does(share, changes):
    assert len(changes) > 150
    assert shown_wrongly(changes[share::12]) == []
