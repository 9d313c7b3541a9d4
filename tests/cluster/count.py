"""usage: count.py FOLDER. DuckDB counts in the shards of a folder what vary.json tells of them."""

import json
import sys
from pathlib import Path

import duckdb

folder = Path(sys.argv[1])
told = json.loads((folder / "vary.json").read_text())
table = f"read_parquet('{folder}/shard-*.parquet')"
cases, numbers = duckdb.sql(f"SELECT count(*), count(DISTINCT case_number) FROM {table}").fetchall()[0]
assert cases == numbers == told["cases"], (cases, numbers, told["cases"])
for level in told["levels"]:
    of = "patient" if level["level"] == "usual" else level["level"]
    row = duckdb.sql(
        f"""SELECT count(*) FILTER (ends = 'fails'), count(*) FILTER (short),
                   count(*) FILTER (ends <> 'no-such-patient'), min(spare_mm), max(spare_mm)
            FROM {table} WHERE stands_for = '{of}'"""
    ).fetchall()[0]
    short = next(b["share"]["count"] for b in level["breaks"] if b["what"] == "short")
    expected = (level["fails"]["count"], short, level["fails"]["of"], *level["spare_mm"]["range"])
    assert row == expected, (level["level"], row, expected)
    print(f"DuckDB counts {row[0]} failures of {row[2]} with materials {level['level']}, as vary.json tells")
