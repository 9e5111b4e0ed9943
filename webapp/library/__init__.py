"""The library: what the trade knows, as data (JSON), with the loader that reads and checks it. No rules live here."""
