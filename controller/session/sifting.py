"""Find the session rows that must be judged one by one. SQL passes plainly sound rows, which are nearly all of them.

A condition here must be at least as strict as the rule in `salvage`: a row that passes is not looked at again.
"""

from collections.abc import Collection, Iterator
from typing import Any

from controller.session.database import Database
from controller.session.rows import ShotOutcome

MOST_NS = 2**62
"""146 years; a later time is damage."""
TIMES = f"BETWEEN 0 AND {MOST_NS - 1}"
COUNTS = f"BETWEEN 0 AND {2**32 - 1}"
ANGLES = "BETWEEN -3600 AND 3600"
OUTCOMES = ", ".join(f"'{outcome.value}'" for outcome in ShotOutcome)
# Printable ASCII only. SQL's text functions stop at a zero byte, so the bytes are counted as well.
PLAIN = "typeof({0}) = 'text' AND {0} NOT GLOB '*[^ -~]*' AND length({0}) = length(CAST({0} AS BLOB))"
# A text in any other column is never passed: it may not even be readable.
OTHER = "typeof({0}) <> 'text'"

SOUND: dict[str, dict[str, str]] = {
    "exposures": {
        "outcome": f"({{0}} IS NULL OR {{0}} IN ({OUTCOMES}))",
        "intended_ns": f"{{0}} {TIMES}",
        "ended_ns": f"({{0}} IS NULL OR {{0}} {TIMES})",
        "shutter_s": "{0} > 0 AND {0} <= 36000",
        **dict.fromkeys(("frame", "exposure", "attempt", "command_id"), f"{{0}} {COUNTS}"),
        **dict.fromkeys(("yaw_deg", "pitch_deg", "pan_deg", "tilt_deg"), f"({{0}} IS NULL OR {{0}} {ANGLES})"),
    },
    "happenings": {"at_ns": f"{{0}} {TIMES}", "state": PLAIN, "what": PLAIN},
}
"""For each table with many rows, the condition that makes a column's value plainly sound."""


def doubtful_rows(db: Database, table: str, columns: Collection[str]) -> Iterator[dict[str, Any]]:
    """The rows that SQL cannot pass, by column name; all rows if the table is not in SOUND. Raises DatabaseError."""
    where = ""
    if table in SOUND:
        sound = (SOUND[table].get(column, OTHER).format(column) for column in sorted(columns))
        where = f"WHERE ({' AND '.join(sound)}) IS NOT TRUE"
    cursor = db.execute(f"SELECT * FROM {table} {where}")
    names = [column[0] for column in cursor.description]
    for row in cursor:
        yield dict(zip(names, row, strict=True))
