"""Which checks pytest collects as tests; allows `foreglow::map` on its command line."""

from __future__ import annotations

from pathlib import Path

import pytest

from emulator.errors import laid_out

PREFIX = "foreglow"
ONLY = "foreglow_only"  # an option: the check items named on the command line, and whether all were


def take_arguments(config: pytest.Config) -> None:
    """Take arguments such as `foreglow::map` off the command line: they do not name files.

    Workers of pytest-xdist get the options, so that they select the same items.
    """
    named = [argument for argument in config.args if argument.split("::")[0] == PREFIX]
    if named and not Path(PREFIX).exists():
        setattr(config.option, ONLY, (named, len(named) == len(config.args)))
    only = getattr(config.option, ONLY, None)
    if only is not None:
        config.args[:] = [] if only[1] else [a for a in config.args if a not in only[0]]


def names_single_tests(config: pytest.Config) -> bool:
    """Whether the command line names only files or tests, and no folder."""
    if config.args_source is not pytest.Config.ArgsSource.ARGS:
        return False
    return not any(
        Path(config.invocation_params.dir, argument).is_dir() for argument in config.args
    )


@pytest.hookimpl(tryfirst=True)  # before -k and -m choose
def pytest_collection_modifyitems(
    session: pytest.Session, config: pytest.Config, items: list[pytest.Item]
) -> None:
    """Append the requested check items to the collected tests."""
    subject = config.getoption("--foreglow-check") or config.getini("foreglow_check")
    only = getattr(config.option, ONLY, None)
    if not subject:
        if only is not None:
            raise pytest.UsageError(
                laid_out(
                    "no code to check is named",
                    place=only[0][0],
                    fix="write foreglow_check = module:function in the ini file, or use"
                    " --foreglow-check.",
                )
            )
        return
    if only is None and not config.getoption("--foreglow-check") and names_single_tests(config):
        return
    from harness.plugin.checkitems import Checks

    wanted = only[0] if only is not None else [PREFIX]
    found = list(Checks.from_parent(session, name=PREFIX, nodeid=PREFIX).collect())
    for name in wanted:
        if name != PREFIX and name not in {item.nodeid for item in found}:
            raise pytest.UsageError(
                laid_out(
                    f"there is no check item '{name}'",
                    fix=f"name one of {', '.join(item.nodeid for item in found)}.",
                )
            )
    items += [item for item in found if PREFIX in wanted or item.nodeid in wanted]
