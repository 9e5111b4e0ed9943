"""Program for the phone's MicroPython: replay every table under /data, print one line a failure, then the count."""

import json
import os

from replay import replay_row


def import_module(name: str) -> object:
    package = __import__("engine." + name)
    return getattr(package, name)


checked = 0
for table in sorted(os.listdir("/data")):
    with open("/data/" + table) as file:
        rows = json.load(file)["rows"]
    for row in rows:
        checked += 1
        problem = replay_row(row, {row["call"].split(".")[0]: import_module(row["call"].split(".")[0])})
        if problem:
            print("FAILED " + table + " " + problem)
print("CHECKED " + str(checked))
