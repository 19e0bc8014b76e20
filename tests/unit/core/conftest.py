"""What tests of the leak look in on."""

import pytest

from monitor.core import leak_bank as banks


@pytest.fixture
def observed(monkeypatch):
    """What the hypotheses of the whole and of the relative bank were told: rows, seen, noise, wanted, half."""
    told, real = [], banks.observe

    def note(bank, seen, noise, wanted, half=None):
        told.append((bank.rows_n, seen.copy(), noise.copy(), wanted.copy(), None if half is None else half.copy()))
        real(bank, seen, noise, wanted, half)

    monkeypatch.setattr(banks, "observe", note)
    return told
