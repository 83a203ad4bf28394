"""Runs a program and says what it took. Usage: measured.py PROGRAM [ARGUMENT ...].

Prints a JSON object: exit code, peak resident memory in KiB, seconds on the clock and of processors, and what the program wrote to stdout.
"""

import json
import resource
import subprocess
import sys
import time

start = time.monotonic()
run = subprocess.run(sys.argv[1:], stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.PIPE)
used = resource.getrusage(resource.RUSAGE_CHILDREN)
print(
    json.dumps(
        {
            "code": run.returncode,
            "peak_kib": used.ru_maxrss,
            "seconds": time.monotonic() - start,
            "cpu_seconds": used.ru_utime + used.ru_stime,
            "stdout": run.stdout.decode("utf-8", "replace"),
            "stderr": run.stderr.decode("utf-8", "replace"),
        }
    )
)
