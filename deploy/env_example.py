"""Print every setting with its help and default: PYTHONPATH=. python deploy/env_example.py > deploy/env.example"""

from webapp.settings import TABLE

HEAD = """\
# Settings of railcase, read by systemd (EnvironmentFile=) and by shells. Made by deploy/env_example.py; do not edit here.
# Take the # from a line to set it. Values with & or ? or spaces stand in double quotes.
# Keep the filled-in file to its owner and group: chmod 640.
"""


def render() -> str:
    return "\n".join([HEAD, *(f'# {text}\n#{name}="{unset or ""}"\n' for name, _, unset, text in TABLE)])


if __name__ == "__main__":
    print(render(), end="")
