"""Program for the phone's MicroPython: judge each case of /data/cases.json, print one answer a line."""

import json

from engine.calls import Door

with open("/data/catalogue.json") as file:
    door = Door(file.read())
with open("/data/cases.json") as file:
    cases = json.load(file)
for case in cases:
    print(door.call("judge", json.dumps(case)))
