"""The figures of the doors, as literals: a slip in one of them is seen here."""

from __future__ import annotations

import photocheck_app.doors
from photocheck_app.doors import sign_in
from tests.support.figures_held import figures_in

DAY_S = 86_400.0


def test_every_figure_of_the_doors_is_as_shipped() -> None:
    """A new one needs its line here."""
    assert figures_in(photocheck_app.doors) == {
        "assets": {"PATIENCE_S": 1.0},
        "awaited": {"LONGEST_LINK": 200},
        "bodies": {"SMALL": 16_000, "_AROUND": 2**20},
        "connections": {
            "BACKLOG": 100,
            "BODY_S": 900.0,
            "HEADERS_S": 10.0,
            "HEADER_LINES": 100,
            "IDLE_S": 5,
            "IN_ALL": 4000,
            "MOST_PARTS": 512,
            "OF_ADDRESS": 400,
            "PART_S": 30.0,
            "PIECES_OF_SIP": 4,
            "RESERVED": 200,
        },
        "crowd": {"MOST": 16},
        "health": {"HELD_S": 5.0, "LEAST_FREE_BYTES": 200_000_000, "WITHIN_S": 3.0},
        "language": {"_LONGEST": 200},
        "lifespan": {"RUNS_END_WITHIN_S": 4.0},
        "logs": {
            "LINES": 20,
            "MOST_CHARACTERS": 4000,
            "MOST_OF_TRACEBACK": 16_000,
            "OF_TRACEBACK": 5,
            "WINDOW_S": 60.0,
        },
        "open_pages": {
            "AWAY_CODE": 1013,  # IANA's registry of close codes: try again later
            "BYTES_OF_ONE": 20_000,
            "FILE_MEGABYTE_S": 0.002,
            "FILE_S": 0.0004,
            "LONGEST_VISIT_S": 10.0,
            "LONGEST_WAIT_S": 4.0,
            "MESSAGE_S": 0.008,
            "MOST_PAGES": 150,
            "MOST_REQUESTS": 100,
            "NEWCOMERS_S": 0.2,
            "RUN_MOST_S": 0.05,
            "VISIT_S": 0.004,
        },
        "pressed": {"_SMALLEST": 1000},
        "programs": {"PATIENCE_S": 30.0, "PHOTOS_AT_ONCE": 4},
        "retention": {
            "EVERY_S": DAY_S,
            "FORGOTTEN_EVERY_S": 60.0,
            "MOST_JUMP_S": 7 * DAY_S,
        },
        "running": {
            "AT_ALL": 8,
            "AT_ONCE": 4,
            "HEEDS_S": 0.5,
            "MOMENT_S": 0.25,
            "OWING": 1,
            "PATIENCE_S": 30.0,
        },
        "sessions": {"MOST_BROWSERS": 5_000, "MOST_FILES": 50_000, "MOST_SESSIONS": 20_000},
        "sips": {"MOST_UNREAD": 2**21, "SIP_BYTES": 1024},
        "trouble": {"LOG_EVERY_S": 60.0, "SURE_S": 15.0},
        "wire": {"TOO_BIG": 1009},  # RFC 6455, 7.4.1
    }


def test_two_passwords_are_hashed_at_once() -> None:
    assert sign_in._AT_ONCE._initial_value == 2  # type: ignore[attr-defined]
