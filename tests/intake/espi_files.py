"""What the tests of Green Button files share: when they begin, and short ways to read and to be refused."""

from __future__ import annotations

import io
from datetime import datetime

import pytest

from pumpledger.intake.espi import EspiError, EspiReading, espi_readings
from tests.espi_writer import block, reading

START = 1_793_491_200  # 2026-11-01 00:00 UTC
START_UTC = datetime(2026, 11, 1)
HEAD = b'<?xml version="1.0"?><feed xmlns="http://www.w3.org/2005/Atom">'


def read(data: bytes) -> list[EspiReading]:
    return list(espi_readings(io.BytesIO(data)))


def refusal(data: bytes) -> str:
    with pytest.raises(EspiError) as caught:
        read(data)
    message = str(caught.value)
    assert message.endswith(".") and message[0].isupper(), "a sentence for people"
    return message


def many_blocks(days: int, *, extra: str = "", **place: int) -> list[str]:
    return [
        block(
            [reading(START + 86400 * day + 900 * n, 900, 100 + n, extra=extra) for n in range(96)], number=day, **place
        )
        for day in range(days)
    ]
