"""The tables of a session, and the statements that migrate an older session to this version.

A version is the number in `PRAGMA user_version`, and also the fact `session_version` as text; version 2 set only the
text. Migrations keep everything that an older program wrote, if need be under a better name.
"""

import re

SESSION_VERSION = 7
OLDEST_VERSION = 2
# The tables as version 5 made them. A later version changes SCHEMA and leaves these statements as they are.
TABLES_OF_5 = """\
CREATE TABLE runs (
    number INTEGER PRIMARY KEY,
    first INTEGER NOT NULL,
    why TEXT NOT NULL,
    began_ns INTEGER,
    began_utc TEXT,
    ended_utc TEXT,
    sentence TEXT,
    complete INTEGER
) STRICT;
CREATE TABLE zeros (
    number INTEGER PRIMARY KEY,
    boot_id INTEGER
) STRICT;
CREATE TABLE walks (
    number INTEGER PRIMARY KEY,
    pan_from_steps INTEGER NOT NULL,
    pan_to_steps INTEGER NOT NULL,
    tilt_from_steps INTEGER NOT NULL,
    tilt_to_steps INTEGER NOT NULL
) STRICT;
"""
QUESTIONS_OF_5 = """\
CREATE TABLE questions (
    number INTEGER PRIMARY KEY,
    words TEXT NOT NULL,
    open INTEGER NOT NULL,
    answer TEXT
) STRICT;
"""
# The tables as version 6 made them.
TABLES_OF_6 = """\
CREATE TABLE sentences (
    number INTEGER PRIMARY KEY,
    at_ns INTEGER NOT NULL,
    at_utc TEXT NOT NULL,
    kind TEXT NOT NULL,
    words TEXT NOT NULL,
    lasts_ns INTEGER
) STRICT;
CREATE TABLE pulse (
    number INTEGER PRIMARY KEY,
    at_ns INTEGER NOT NULL,
    at_utc TEXT NOT NULL,
    process INTEGER NOT NULL,
    done INTEGER NOT NULL,
    total INTEGER NOT NULL,
    left_ns INTEGER NOT NULL,
    pause TEXT,
    sent INTEGER NOT NULL,
    repeated INTEGER NOT NULL,
    damaged INTEGER NOT NULL,
    supply_low INTEGER,
    gusts INTEGER,
    shaped INTEGER NOT NULL,
    used_s REAL NOT NULL,
    moving_s REAL NOT NULL,
    used_wh REAL,
    battery_s REAL,
    pause_in_s REAL
) STRICT;
"""
# Version 7 numbers the latest sentence at the beginning and at the end of a run: the order of both, whatever the clock.
RUNS_OF_7 = TABLES_OF_5.replace(
    "    complete INTEGER\n", "    complete INTEGER,\n    began_after INTEGER,\n    ended_after INTEGER\n"
)
TABLES_OF_7 = """\
CREATE TABLE clocks (
    number INTEGER PRIMARY KEY,
    run INTEGER NOT NULL,
    at_ns INTEGER NOT NULL,
    utc TEXT NOT NULL,
    trust TEXT NOT NULL,
    boot TEXT NOT NULL
) STRICT;
"""
SCHEMA = f"""
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
    taken INTEGER NOT NULL DEFAULT 0,
    question INTEGER
) STRICT;
CREATE TABLE happenings (
    number INTEGER PRIMARY KEY,
    at_ns INTEGER NOT NULL,
    state TEXT NOT NULL,
    what TEXT NOT NULL,
    frame INTEGER,
    file TEXT
) STRICT;
CREATE TABLE questions (
    number INTEGER PRIMARY KEY,
    words TEXT NOT NULL,
    open INTEGER NOT NULL,
    answer TEXT,
    asked_utc TEXT,
    kind TEXT
) STRICT;
{RUNS_OF_7}{TABLES_OF_6}{TABLES_OF_7}"""

# The frames of the session's plan that are shot by hand; none if the plan cannot be read.
BY_HAND = (
    "SELECT json_extract(frame.value, '$.id') FROM about,"
    " json_each(CASE WHEN json_valid(about.value) THEN about.value ELSE '{}' END, '$.frames') AS frame"
    " WHERE about.name = 'plan' AND json_extract(frame.value, '$.by_hand')"
)

# Version 4 stored the clock at the beginning of a run as a fact `clock from N`: N is the number of the first exposure,
# the value is monotonic nanoseconds and UTC. A fact `resumed ...` before it says that a command continued the session. A
# fact that is written gets a new rowid, so the rowids give the order of writing.
RUNS_OF_4 = """
INSERT INTO runs (first, why, began_ns, began_utc)
SELECT first,
    CASE
        WHEN EXISTS (
            SELECT 1 FROM about WHERE name GLOB 'resumed *' AND rowid > coalesce(before, 0) AND rowid < written
        ) THEN 'resumed'
        WHEN before IS NULL THEN 'begun'
        ELSE 'zero set'
    END,
    CAST(substr(value, 1, instr(value, ' ') - 1) AS INTEGER),
    substr(value, instr(value, ' ') + 1)
FROM (
    SELECT CAST(substr(name, 12) AS INTEGER) AS first, value, rowid AS written, lag(rowid) OVER (ORDER BY rowid) AS before
    FROM about WHERE name GLOB 'clock from *'
)
ORDER BY written
"""
# A rehearsal has no time of day, so it stored no clock. The end that it stored is that of its only run.
REHEARSALS_OF_4 = """
INSERT INTO runs (first, why)
SELECT 1, 'begun' FROM about WHERE name = 'sentence' AND NOT EXISTS (SELECT 1 FROM runs)
"""
# The end of the latest run. Versions before 3 could call an incomplete set complete. The time of an earlier end may still
# be there; the time of this end was written after its sentence.
ENDS_OF_4 = """
UPDATE runs SET
    sentence = replace(sentence_of_4.value, 'The set is complete', 'The run is through'),
    complete = (SELECT value = 'yes' FROM about WHERE name = 'complete'),
    ended_utc = (SELECT value FROM about WHERE name = 'ended' AND about.rowid > sentence_of_4.rowid)
FROM (SELECT value, rowid FROM about WHERE name = 'sentence') AS sentence_of_4
WHERE number = (SELECT max(number) FROM runs)
"""
# The path of the walk round the extremes was JSON: [[pan, tilt], ...].
WALKS_OF_4 = """
INSERT INTO walks (pan_from_steps, pan_to_steps, tilt_from_steps, tilt_to_steps)
SELECT pan_from, pan_to, tilt_from, tilt_to FROM (
    SELECT min(json_extract(value, '$[0]')) AS pan_from, max(json_extract(value, '$[0]')) AS pan_to,
        min(json_extract(value, '$[1]')) AS tilt_from, max(json_extract(value, '$[1]')) AS tilt_to
    FROM json_each((SELECT value FROM about WHERE name = 'walked'))
)
WHERE pan_from IS NOT NULL
"""
# The latest question was one fact: its number and a space, followed by its words while it was open.
QUESTIONS_OF_4 = """
INSERT INTO questions (number, words, open)
SELECT CAST(value AS INTEGER), substr(value, instr(value || ' ', ' ') + 1), value LIKE '% _%'
FROM about WHERE name = 'question'
"""
FACTS_OF_4 = "'zero found by boot', 'walked', 'question', 'sentence', 'complete', 'ended'"


def _statements(tables: str) -> list[str]:
    return tables.removesuffix(";\n").split(";\n")


MIGRATIONS: dict[int, tuple[str, ...]] = {
    # The commanded position of the head, and the reported one.
    2: tuple(
        f"ALTER TABLE exposures ADD COLUMN {column} INTEGER"
        for column in (
            "commanded_pan_steps",
            "commanded_tilt_steps",
            "reported_pan_steps",
            "reported_tilt_steps",
        )
    ),
    # The angles of the axes were called yaw and pitch. For frames by hand, the same columns held the requested pose.
    3: (
        "ALTER TABLE exposures ADD COLUMN pan_deg REAL",
        "ALTER TABLE exposures ADD COLUMN tilt_deg REAL",
        f"UPDATE exposures SET pan_deg = yaw_deg, tilt_deg = pitch_deg WHERE frame NOT IN ({BY_HAND})",
        "ALTER TABLE exposures DROP COLUMN yaw_deg",
        "ALTER TABLE exposures DROP COLUMN pitch_deg",
    ),
    # Facts whose names or values had to be parsed to be understood.
    4: (
        *_statements(TABLES_OF_5),
        *_statements(QUESTIONS_OF_5),
        RUNS_OF_4,
        REHEARSALS_OF_4,
        ENDS_OF_4,
        "INSERT INTO zeros (boot_id) SELECT CAST(value AS INTEGER) FROM about WHERE name = 'zero found by boot'",
        WALKS_OF_4,
        QUESTIONS_OF_4,
        f"DELETE FROM about WHERE name IN ({FACTS_OF_4}) OR name GLOB 'clock from *' OR name GLOB 'resumed *'",
        "ALTER TABLE wishes ADD COLUMN question INTEGER",
        "UPDATE wishes SET question = CAST(frames AS INTEGER), frames = '' WHERE wanted IN ('yes', 'no')",
        "ALTER TABLE happenings ADD COLUMN file TEXT",
        "UPDATE happenings SET file = substr(what, 6), what = 'filed' WHERE what GLOB 'file *'",
    ),
    # What people are told, and the figures that a window on a run shows. Older sessions did not keep them.
    5: (
        *_statements(TABLES_OF_6),
        "ALTER TABLE questions ADD COLUMN asked_utc TEXT",
        "ALTER TABLE questions ADD COLUMN kind TEXT",
    ),
    # What the time of day was during a run, and how far it can be believed. Older sessions only know when a run began.
    6: (
        *_statements(TABLES_OF_7),
        "ALTER TABLE runs ADD COLUMN began_after INTEGER",
        "ALTER TABLE runs ADD COLUMN ended_after INTEGER",
    ),
}
"""For each older version, the statements that migrate it to the next one."""


def columns_of(version: int) -> dict[str, frozenset[str]]:
    """The columns of each table in a session of `version`; an unknown version counts as the nearest known one."""
    tables = {
        table: {line.split()[0] for line in re.split(r",\s", body)}
        for table, body in re.findall(r"CREATE TABLE (\w+) \(\s*(.*?)\s*\) STRICT", SCHEMA, re.DOTALL)
    }
    for older in range(SESSION_VERSION - 1, max(version, OLDEST_VERSION) - 1, -1):
        for statement in reversed(MIGRATIONS[older]):
            if found := re.match(r"\s*CREATE TABLE (\w+)", statement):
                del tables[found[1]]
            elif found := re.fullmatch(r"ALTER TABLE (\w+) (ADD|DROP) COLUMN (\w+).*", statement):
                table, how, column = found.groups()
                (tables[table].discard if how == "ADD" else tables[table].add)(column)
    return {table: frozenset(columns) for table, columns in tables.items()}


def statements_from(version: int) -> list[str]:
    """All statements that migrate a session of `version` to this version, to execute in one transaction."""
    steps = [statement for older in range(version, SESSION_VERSION) for statement in MIGRATIONS[older]]
    return [*steps, *stamp()]


def stamp() -> list[str]:
    """The statements that mark a session as one of this version."""
    fact = f"INSERT OR REPLACE INTO about VALUES ('session_version', '{SESSION_VERSION}')"
    return [fact, f"PRAGMA user_version = {SESSION_VERSION}"]
