"""`python -m webapp` is the `railcase` command."""

from webapp.cli import main

main(prog_name="railcase")
