"""Program for the phone's MicroPython: answer each [name, request] of /data/calls.json, print one answer a line."""

import json

from engine.calls import Door

with open("/data/catalogue.json") as file:
    door = Door(file.read())
with open("/data/calls.json") as file:
    calls = json.load(file)
for name, request in calls:
    print(door.call(name, json.dumps(request)))
