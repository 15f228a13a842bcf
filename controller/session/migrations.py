"""The tables of a session, and how a session of an older version becomes one of this version. Data only.

A version is the number in `PRAGMA user_version`, and as text the fact `session_version`; version 2 set the text alone.
Migrations keep what an older program has written, if need be under a better name.
"""

import re

SESSION_VERSION = 4
OLDEST_VERSION = 2
SCHEMA = """
CREATE TABLE about (name TEXT PRIMARY KEY, value TEXT NOT NULL) STRICT;
CREATE TABLE exposures (
    number INTEGER PRIMARY KEY,
    frame INTEGER NOT NULL,
    exposure INTEGER NOT NULL,
    attempt INTEGER NOT NULL,
    command_id INTEGER NOT NULL UNIQUE,
    shutter_s REAL NOT NULL,
    intended_ns INTEGER NOT NULL,
    outcome TEXT,
    ended_ns INTEGER,
    board_clock_ms INTEGER,
    commanded_pan_steps INTEGER,
    commanded_tilt_steps INTEGER,
    reported_pan_steps INTEGER,
    reported_tilt_steps INTEGER,
    pan_deg REAL,
    tilt_deg REAL
) STRICT;
CREATE TABLE doubts (
    number INTEGER PRIMARY KEY,
    frame INTEGER NOT NULL,
    exposure INTEGER NOT NULL,
    upto INTEGER NOT NULL,
    why TEXT NOT NULL
) STRICT;
CREATE TABLE checks (
    number INTEGER PRIMARY KEY,
    axis TEXT NOT NULL,
    upto INTEGER NOT NULL
) STRICT;
CREATE TABLE wishes (
    number INTEGER PRIMARY KEY,
    wanted TEXT NOT NULL,
    frames TEXT NOT NULL,
    taken INTEGER NOT NULL DEFAULT 0
) STRICT;
CREATE TABLE happenings (
    number INTEGER PRIMARY KEY,
    at_ns INTEGER NOT NULL,
    state TEXT NOT NULL,
    what TEXT NOT NULL,
    frame INTEGER
) STRICT;
"""

# The frames of the session's plan that are shot by hand; none if it holds no plan that can be read.
BY_HAND = (
    "SELECT json_extract(frame.value, '$.id') FROM about,"
    " json_each(CASE WHEN json_valid(about.value) THEN about.value ELSE '{}' END, '$.frames') AS frame"
    " WHERE about.name = 'plan' AND json_extract(frame.value, '$.by_hand')"
)

MIGRATIONS: dict[int, tuple[str, ...]] = {
    # Where the head was told to be and where the board said that it was.
    2: tuple(
        f"ALTER TABLE exposures ADD COLUMN {column} INTEGER"
        for column in (
            "commanded_pan_steps",
            "commanded_tilt_steps",
            "reported_pan_steps",
            "reported_tilt_steps",
        )
    ),
    # Angles of the axes were called yaw and pitch; by hand the same columns held the pose that was asked for.
    3: (
        "ALTER TABLE exposures ADD COLUMN pan_deg REAL",
        "ALTER TABLE exposures ADD COLUMN tilt_deg REAL",
        f"UPDATE exposures SET pan_deg = yaw_deg, tilt_deg = pitch_deg WHERE frame NOT IN ({BY_HAND})",
        "ALTER TABLE exposures DROP COLUMN yaw_deg",
        "ALTER TABLE exposures DROP COLUMN pitch_deg",
    ),
}
"""For each older version, the statements that make the next one of it."""


def columns_of(version: int) -> dict[str, frozenset[str]]:
    """The columns of each table in a session of `version`; a version that is not known is taken as the nearest."""
    tables = {
        table: {line.split()[0] for line in re.split(r",\s", body)}
        for table, body in re.findall(r"CREATE TABLE (\w+) \(\s*(.*?)\s*\) STRICT", SCHEMA, re.DOTALL)
    }
    for older in range(SESSION_VERSION - 1, max(version, OLDEST_VERSION) - 1, -1):
        for statement in reversed(MIGRATIONS[older]):
            if found := re.fullmatch(r"ALTER TABLE (\w+) (ADD|DROP) COLUMN (\w+).*", statement):
                table, how, column = found.groups()
                (tables[table].discard if how == "ADD" else tables[table].add)(column)
    return {table: frozenset(columns) for table, columns in tables.items()}


def statements_from(version: int) -> list[str]:
    """Everything to execute on a session of `version` to make it one of this version, within one transaction."""
    steps = [statement for older in range(version, SESSION_VERSION) for statement in MIGRATIONS[older]]
    return [*steps, *stamp()]


def stamp() -> list[str]:
    """What marks a session as one of this version."""
    fact = f"INSERT OR REPLACE INTO about VALUES ('session_version', '{SESSION_VERSION}')"
    return [fact, f"PRAGMA user_version = {SESSION_VERSION}"]
