"""Reads recorded traces (CSV) of any length for the command, in flat memory.

The dialect's rules are data (library/trace_columns.json), shared with the phone's reader; what the trace means is judged by
the engine alone. Parts: dialect (head of the file: marks, header, columns), rows (lines into numbers), buckets (any number
of samples into a few thousand points), reader (a file through all of it).
"""
