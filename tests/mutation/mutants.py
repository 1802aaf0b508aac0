"""The mutants of modules, as mutmut has them: python tests/mutation/mutants.py FILE... prints one JSON object a line.

Run by the Python of .venv/mutation, where mutmut is; the tests run elsewhere, in the environment they always run in.
Formatted strings are left alone, since they word messages, and so are the mutants that put None for a value: nearly any
test fails on those, and a score would only look better. What a module exports is left alone too.
"""

from __future__ import annotations

import ast
import json
import sys
from collections.abc import Iterator
from difflib import unified_diff
from pathlib import Path

from mutmut.mutation.file_mutation import create_mutations


def exported_lines(text: str) -> range:
    """Lines of a module's list of public names."""
    for node in ast.parse(text).body:
        if isinstance(node, ast.Assign) and ast.unparse(node.targets[0]) == "__all__":
            return range(node.lineno, (node.end_lineno or node.lineno) + 1)
    return range(0)


def mutants(path: str) -> Iterator[dict[str, object]]:
    """Every mutant of a module: its number, line, the change, and the whole mutated text."""
    text = Path(path).read_text(encoding="utf-8")
    module, mutations, *_ = create_mutations(path, text)
    seen = {text}
    exports = exported_lines(text)
    for mutation in mutations:
        mutated = module.deep_replace(mutation.original_node, mutation.mutated_node).code
        if mutated in seen or mutated.count("None") > text.count("None"):
            continue
        seen.add(mutated)
        lines = list(unified_diff(text.splitlines(), mutated.splitlines(), n=0, lineterm=""))[2:]
        line = int(lines[0].split()[1].split(",")[0].lstrip("-"))
        if line in exports:
            continue
        change = "\n".join(row for row in lines if not row.startswith("@@"))
        within = mutation.contained_by_top_level_function is not None
        yield {
            "file": path,
            "number": len(seen) - 1,
            "line": line,
            "in_function": within,
            "change": change,
            "text": mutated,
        }


if __name__ == "__main__":
    for name in sys.argv[1:]:
        for mutant in mutants(name):
            print(json.dumps(mutant))
