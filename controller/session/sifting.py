"""Which rows of a session need to be judged one by one: SQL passes those that are plainly sound, as nearly all are.

A condition here may only be narrower than the rule in `salvage`: a row that it passes is not looked at again.
"""

from collections.abc import Collection, Iterator
from typing import Any

from controller.session.database import Database
from controller.session.rows import ShotOutcome

MOST_NS = 2**62
"""146 years; a time beyond it is damage, not a time."""
TIMES = f"BETWEEN 0 AND {MOST_NS - 1}"
COUNTS = f"BETWEEN 0 AND {2**32 - 1}"
ANGLES = "BETWEEN -3600 AND 3600"
OUTCOMES = ", ".join(f"'{outcome.value}'" for outcome in ShotOutcome)
# Plain characters alone. Functions of text end at a zero byte, so the bytes are counted as well.
PLAIN = "typeof({0}) = 'text' AND {0} NOT GLOB '*[^ -~]*' AND length({0}) = length(CAST({0} AS BLOB))"
# Text that nobody asked for may not even be readable.
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
"""For each table with many rows, what makes a value of a column plainly sound."""


def doubtful_rows(db: Database, table: str, columns: Collection[str]) -> Iterator[dict[str, Any]]:
    """The rows that SQL cannot pass, by name of column; all rows of a table that has few. Raises DatabaseError."""
    where = ""
    if table in SOUND:
        sound = (SOUND[table].get(column, OTHER).format(column) for column in sorted(columns))
        where = f"WHERE ({' AND '.join(sound)}) IS NOT TRUE"
    cursor = db.execute(f"SELECT * FROM {table} {where}")
    names = [column[0] for column in cursor.description]
    for row in cursor:
        yield dict(zip(names, row, strict=True))
