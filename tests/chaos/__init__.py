"""Chaos: phones that lose their link, their power and their place, a server that is killed between any two statements.

`phone` is the phone's durable store and protocol in Python, `server` the real server in a process that can be killed at a
statement, `link` what a bad link does to a request, `check` what must hold once everything is whole again. `python -m
tests.chaos` runs them against each other for as long as it takes to inject the faults asked for; the state machine in
`tests/store/test_machine.py` does the same in small, in one process, with failures shrunk by hypothesis.
"""
