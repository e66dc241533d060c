"""`foreglow::map` and the like on the command line of pytest, which takes only files."""

from __future__ import annotations

from pathlib import Path

import pytest

PREFIX = "foreglow"
ONLY = "foreglow_only"  # an option: the check items named on the command line, and whether all were


def take_arguments(config: pytest.Config) -> None:
    """Take `foreglow::map` and the like out of the command line: they are no files.

    Workers of pytest-xdist get the options, so that they select the same.
    """
    named = [argument for argument in config.args if argument.split("::")[0] == PREFIX]
    if named and not Path(PREFIX).exists():
        setattr(config.option, ONLY, (named, len(named) == len(config.args)))
    only = getattr(config.option, ONLY, None)
    if only is not None:
        config.args[:] = [] if only[1] else [a for a in config.args if a not in only[0]]


def names_single_tests(config: pytest.Config) -> bool:
    """Whether the command line names files or tests alone, no folder."""
    if config.args_source is not pytest.Config.ArgsSource.ARGS:
        return False
    return not any(
        Path(config.invocation_params.dir, argument).is_dir() for argument in config.args
    )
