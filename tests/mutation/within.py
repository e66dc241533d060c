"""The requests to mutmut inside the copied tree: `python -m tests.mutation.within WHAT PATH`.

names: the mutants of a source file, one a line. results: each mutant tested, its end and its
difference, as JSON. Apart, since mutmut reads its settings from the folder it runs in.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

from mutmut.mutation.data import SourceFileMutationData
from mutmut.mutation.diff_apply import get_diff_for_mutant
from mutmut.mutation.file_mutation import mutate_file_contents
from mutmut.stats import status_by_exit_code
from mutmut.utils.format_utils import get_mutant_name


def names(path: Path) -> list[str]:
    """Every mutant of a source file."""
    made = mutate_file_contents(str(path), path.read_text()).mutant_names
    return [get_mutant_name(path, name) for name in made]


def results(path: Path) -> list[dict[str, Any]]:
    """How each mutant tested ended, and for those unnoticed the lines removed and added."""
    found = SourceFileMutationData(path=path)
    found.load()
    told = []
    for name, code in found.exit_code_by_key.items():
        if code is None:
            continue
        end = status_by_exit_code[code]
        entry = {"name": name, "end": end}
        if end in ("survived", "no tests"):
            lines = get_diff_for_mutant(name, path=path).splitlines()[2:]
            entry["was"] = [line[1:].strip() for line in lines if line.startswith("-")]
            entry["now"] = [line[1:].strip() for line in lines if line.startswith("+")]
        told.append(entry)
    return told


if __name__ == "__main__":
    print(json.dumps({"names": names, "results": results}[sys.argv[1]](Path(sys.argv[2]))))
