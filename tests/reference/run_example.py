"""Runs the examples in Python and SQL on a package; prints the line that each prints.

run_example.py EXAMPLES PACKAGE
"""

import os
import pathlib
import subprocess
import sys

import duckdb

examples, package = map(pathlib.Path, sys.argv[1:])
os.chdir(package)
subprocess.run([sys.executable, examples / "newest_week.py"], check=True)
for row in duckdb.sql((examples / "newest_week.sql").read_text()).fetchall():
    print(row[0])
