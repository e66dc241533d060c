"""The modules to mutate, and the tests that must notice it."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Module:
    """source: a file, or all files of a folder (a pattern). tests: files that concern it.

    sample: how many of its mutants a run takes, picked by a fixed seed; None takes all. without:
    tests that take too long to run for each mutant, as pytest's -k names them.
    """

    source: str
    tests: tuple[str, ...]
    sample: int | None = None
    without: tuple[str, ...] = ()


MODULES = {
    "strip": Module("emulator/strip.py", ("tests/test_strip.py",)),
    "framing": Module(
        "emulator/signal/framing.py",
        ("tests/signal/test_framing.py", "tests/test_strip.py"),
    ),
    "onewire": Module(
        "emulator/signal/onewire.py",
        ("tests/signal/test_onewire.py", "tests/signal/test_capture.py"),
    ),
    "clocked": Module(
        "emulator/signal/clocked.py",
        ("tests/signal/test_clocked.py", "tests/signal/test_capture.py"),
    ),
    "limiter": Module("emulator/canvas/limiter.py", ("tests/canvas/test_limiter.py",)),
    "solve": Module(
        "emulator/power/solve.py",
        ("tests/power/test_solve.py", "tests/power/test_supply.py"),
        sample=200,
    ),
    "judge": Module(
        "harness/flash/judge.py",
        ("tests/harness/flash/test_flash_judge.py", "tests/outside/test_flash_definition.py"),
        sample=200,
    ),
    "assembly": Module(
        "emulator/ports/serial/assembly.py",
        ("tests/ports/test_assembly.py", "tests/outside/test_serial_protocol.py"),
    ),
    "guard": Module("harness/show/scene/guard.py", ("tests/harness/show/test_guard.py",)),
    "explain": Module(
        "harness/explain/*",
        (
            "tests/harness/explain/test_explain.py",
            "tests/harness/explain/test_explain_colours.py",
            "tests/harness/explain/test_explain_sound.py",
            "tests/harness/explain/test_explain_details.py",
            "tests/harness/explain/test_explain_parts.py",
            "tests/harness/explain/test_said.py",
        ),
        sample=200,
        without=("pairs_of_faults", "any_composition", "any_source", "another_", "foyer", "width"),
    ),
}
