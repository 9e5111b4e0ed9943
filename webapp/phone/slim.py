"""Sources without what only people read: docstrings, comments and, in the engine's, types and blank lines.

Two fifths of what travels of the engine, an eighth of the scripts; and the phone has less to read before it is ready.
"""

import ast
import io
import tokenize
from functools import lru_cache


def docstring_spans(source: str) -> dict[int, tuple[int, int]]:
    """Return {first line: (line after the last, indentation)} of every docstring, lines counted from 0."""
    found = {}
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Module | ast.FunctionDef | ast.ClassDef) and ast.get_docstring(node) is not None:
            text = node.body[0]
            found[text.lineno - 1] = (text.end_lineno or text.lineno, text.col_offset)
    return found


Span = tuple[int, int, int]  # line counted from 0, first byte, byte after the last


def annotation_spans(source: str) -> list[Span]:
    """Where types are said: the phone's interpreter reads past them. One that runs over several lines stays."""
    lines = [line.encode() for line in source.split("\n")]
    cuts = []
    for node in ast.walk(ast.parse(source)):
        for start, note in list_annotations(node):
            if start is not None and start.lineno == note.lineno == note.end_lineno:
                before = lines[note.lineno - 1][: note.col_offset].rstrip(b"->: ")
                cuts.append((note.lineno - 1, len(before), note.end_col_offset or 0))
    return cuts


def list_annotations(node: ast.AST) -> list[tuple]:
    """Each annotation of a node, and something that begins on its line when it may be cut."""
    if isinstance(node, ast.FunctionDef) and node.returns:
        return [(node.returns, node.returns)]
    if isinstance(node, ast.arg) and node.annotation:
        return [(node, node.annotation)]
    return [(node, node.annotation)] if isinstance(node, ast.AnnAssign) and node.value else []


def comment_spans(source: str) -> list[Span]:
    tokens = tokenize.generate_tokens(io.StringIO(source).readline)
    found = [(token.start[0] - 1, token.start[1], token.line) for token in tokens if token.type == tokenize.COMMENT]
    return [(row, len(line[:column].rstrip().encode()), len(line.encode())) for row, column, line in found]


def cut(source: str, spans: list[Span]) -> list[str]:
    lines = [line.encode() for line in source.split("\n")]
    for row, first, end in sorted(spans, reverse=True):
        lines[row] = lines[row][:first] + lines[row][end:]
    return [line.decode() for line in lines]


@lru_cache(maxsize=256)
def slim(source: str) -> str:
    """Return a source that does the same; a 0 stands for each docstring, so that no body is left empty."""
    spans, kept, at = docstring_spans(source), [], 0
    lines = cut(source, annotation_spans(source) + comment_spans(source))
    while at < len(lines):
        if at in spans:
            end, indentation = spans[at]
            kept.append(" " * indentation + "0")
            at = end
            continue
        if lines[at].strip():
            kept.append(lines[at])
        at += 1
    return "\n".join(kept) + "\n"


def slim_script(source: str) -> str:
    """Return a script with each line that holds nothing but a comment left empty, so that line numbers stay right.

    Only outside of template texts, told by an odd number of backquotes before the line: what looks like a comment in there
    is text.
    """
    kept, quotes, in_block = [], 0, False
    for line in source.split("\n"):
        words = line.strip()
        is_comment = in_block or (quotes % 2 == 0 and words.startswith(("//", "/*")))
        if is_comment:
            in_block = (in_block or words.startswith("/*")) and not words.endswith("*/")
            kept.append("")
        else:
            quotes += line.count("`")
            kept.append(line)
    return "\n".join(kept)
