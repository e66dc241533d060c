"""Why a datagram is not shown: each one received is used, or counted for one of these reasons."""

from __future__ import annotations

from enum import StrEnum


class Discard(StrEnum):
    """The reason, in words for a report. Clauses are those of ANSI E1.31-2018."""

    SHORT = "too short to be a packet"
    NOT_ACN = "no ACN preamble and packet identifier"  # 5.1 to 5.3
    LENGTH = "a length that contradicts the datagram's"  # 5.4, 6.1, 7.1, 7.6
    VECTOR = "a vector that is not for data or synchronization"  # 5.5, 6.2.1, 6.3.1, 7.2
    PROPERTIES = "address type, first address or increment other than fixed"  # 7.3 to 7.5
    PRIORITY = "a priority above 200"  # 6.2.3
    DISCOVERY = "universe discovery, which a display does not need"  # 6.4
    EACH_PRIORITY = "priority for each address (start code DD), which is not read"
    START_CODE = "a start code other than 0"  # 7.7
    PREVIEW = "preview data, not for live output"  # 6.2.6
    UNIVERSE = "a universe that this display does not use"
    SEQUENCE = "out of sequence"  # 6.7.2
    OUTRANKED = "another source has priority"  # 6.2.3
    CROWDED = "more sources than foreglow can follow"  # 6.2.3.3
    ENDED = "the end of a stream that has ended"  # 6.2.6: it is sent three times
    SYNC_ADDRESS = "a synchronization address that no data waits for"  # 6.3.3
